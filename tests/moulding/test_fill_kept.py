"""A fill that nothing changed for is kept from round to round, and is the one that would be found anew."""

from dataclasses import fields, replace

import numpy as np
from manifold3d import Manifold

from firstcast.geometry.zones import Box, Zone
from firstcast.moulding import fill_maker
from firstcast.moulding import relieve as relieving
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.fill import Fill
from firstcast.moulding.fill_kept import Kept
from firstcast.moulding.fill_union import Added
from firstcast.moulding.reading import read_mould
from firstcast.moulding.relieve import filled, propose_fills, relieve
from firstcast.process.materials import choose
from firstcast.vocabulary import ZoneMeaning
from mould_bodies import body_of, cylinder

SIDE = (1.0, 0.0, 0.0)
PITCH, LATTICE, WALL = 0.2, 0.15, 0.6
RUBBER = choose("mould", "addition-silicone-30a")
BOUNDS = Bounds(share=0.15, tongue_ratio=4.0, tongue_base_mm=3.0, least_mm3=0.5)


def two_holes(apart_mm: float = 10.0) -> Manifold:
    """A plate with two holes that hold rubber captive; 10 mm apart, no window of one, 3 mm of room round it, reaches the other."""
    plate = Manifold.cube((8.0, apart_mm + 8.0, 3.0), True)
    for y in (-0.5 * apart_mm, 0.5 * apart_mm):
        plate -= cylinder(1.2, -4.0, 4.0).translate((0.0, y, 0.0))
    return plate


def counted(monkeypatch) -> dict[str, int]:
    """How often a fill is tried, and a solid drawn, from now on."""
    calls = {"fill_captive": 0, "solid_of": 0}
    for name in calls:
        original = getattr(fill_maker, name)

        def counting(*args, original=original, name=name, **more):
            calls[name] += 1
            return original(*args, **more)

        monkeypatch.setattr(fill_maker, name, counting)
    return calls


def of_one_place(fills: tuple[Fill, ...]) -> tuple[Fill, ...]:
    """Those of the hole that the first is for."""
    near = np.sign(fills[0].place_mm[1])
    return tuple(fill for fill in fills if np.sign(fill.place_mm[1]) == near)


def assert_equal(one: Fill, other: Fill) -> None:
    """Field for field, and lump for lump to the last bit."""
    for field in fields(Fill):
        if field.name != "lumps":
            assert getattr(one, field.name) == getattr(other, field.name), field.name
    assert len(one.lumps) == len(other.lumps)
    for a, b in zip(one.lumps, other.lumps, strict=True):
        assert np.array_equal(a.points, b.points)
        assert a.points.dtype == b.points.dtype
        assert np.array_equal(a.triangles, b.triangles)


def test_what_a_fill_did_not_touch_is_kept_and_equals_what_is_found_anew(monkeypatch):
    calls = counted(monkeypatch)
    # a union moves corners that lie in cells with two creases, so here the first hole is filled exactly
    body, after = (
        body_of(two_holes()),
        body_of(two_holes() + cylinder(1.2, -1.5, 1.5).translate((0.0, -5.0, 0.0))),
    )
    monkeypatch.setattr(relieving, "filled", lambda body, fills, pitch_mm: Added(after, 0.0))
    read = read_mould(body, SIDE, PITCH, RUBBER, BOUNDS)
    rounds = []

    def choose_first_once(body, read, fills):
        rounds.append((body, read, fills))
        return [fill for fill in fills if fill.place_mm[1] < 0.0] if len(rounds) == 1 else ()

    found = relieve(
        body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, lattice_mm=LATTICE, choose=choose_first_once
    )
    assert len(rounds) == 2
    count = len(found.proposed)
    assert len(rounds[0][2]) == 2 * count
    # one try for each of the two places, none for the one that stays told
    assert calls == {"fill_captive": 2, "solid_of": 2 * count}
    anew = propose_fills(found.body, found.read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    assert calls == {"fill_captive": 3, "solid_of": 3 * count}
    for one, other in zip(found.proposed, anew, strict=True):
        assert_equal(one, other)


def test_a_place_beside_a_taken_fill_is_found_anew(monkeypatch):
    calls = counted(monkeypatch)
    # the windows' rooms hold some of the other hole
    body = body_of(two_holes(4.0))
    read = read_mould(body, SIDE, PITCH, RUBBER, BOUNDS)
    kept = Kept()
    fills = propose_fills(body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    before = calls["fill_captive"]
    after = filled(body, of_one_place(fills), LATTICE).body
    read = read_mould(after, SIDE, PITCH, RUBBER, BOUNDS)
    again = propose_fills(after, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    assert again
    assert calls["fill_captive"] == before + 1
    anew = propose_fills(after, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL)
    for one, other in zip(again, anew, strict=True):
        assert_equal(one, other)


def test_a_zone_and_a_shifted_lattice_are_compared(monkeypatch):
    calls = counted(monkeypatch)
    body = body_of(two_holes())
    read = read_mould(body, SIDE, PITCH, RUBBER, BOUNDS)
    kept = Kept()
    propose_fills(body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    propose_fills(body, read, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    assert calls["fill_captive"] == 2
    # a zone over one of the holes only
    upper = Zone("upper", ZoneMeaning.NO_CHANGE, shape=Box((-99.0, 0.0, 0.6), (99.0, 99.0, 99.0)))
    propose_fills(body, read, RUBBER, (upper,), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    assert calls["fill_captive"] == 3
    moved = replace(read, held=replace(read.held, origin_mm=read.held.origin_mm + 0.25 * PITCH))
    propose_fills(body, moved, RUBBER, (), bounds=BOUNDS, wall_mm=WALL, kept=kept)
    assert calls["fill_captive"] == 5
