"""The recheck station: what became worse on the mesh that will be written is named, what is as it was is not."""

from dataclasses import replace

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.reading import read_mould
from firstcast.moulding.tongues_told import told_of
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, catalogue, choose
from firstcast.ranges import Range
from firstcast.stations import recheck as recheck_station
from firstcast.vocabulary import ProcessKind, Verdict
from mould_bodies import body_of, cylinder, mushroom

UP = (0.0, 0.0, 1.0)
BOUNDS = Bounds(share=0.15, tongue_ratio=4.0, tongue_base_mm=3.0, least_mm3=0.5)
GROWN = 1.012
"""A master is larger than the figure: what is read is the figure's size again."""

LIMITS = Limits(
    kind=ProcessKind.TWO_PART_BLOCK,
    pixel_mm=(0.035, 0.035),
    layer_mm=0.05,
    pitch_mm=(0.035, 0.035, 0.035),
    reduce_tolerance_mm=0.01,
    wall_mm=Range.exactly(0.6),
    gap_mm=Range.exactly(0.3),
    locks_allowed=True,
)
MATERIALS = Materials(
    printer=choose("printer", "mono-35"),
    resin=choose("resin", "standard"),
    mould=choose("mould", "addition-silicone-30a"),
    **{word: next(iter(catalogue(word).values())) for word in ("cast", "paint")},
)


def rechecked_as(before, after, kind=ProcessKind.TWO_PART_BLOCK):
    """Two solids: as they were read, and as the second will be written."""
    limits = replace(LIMITS, kind=kind)
    body = body_of(before)
    if kind is ProcessKind.PRINT_ONLY:
        body = fine(body)
    read = read_mould(body, UP, 0.2, MATERIALS.mould, BOUNDS)
    pull = np.array(UP) if kind is not ProcessKind.PRINT_ONLY else np.zeros(3)
    return recheck_station.recheck(
        master="body", mesh=master_of(body_of(after)), matrix=GROWN * np.eye(3), body=body, pull=pull,
        pitch_mm=0.2, least_mm3=0.5, locks=read.locks, tongues=told_of(read.tongues, read.room, read.parts),
        limits=limits, materials=MATERIALS,
        settings=recheck_station.Settings(),
    )  # fmt: skip


def fine(body: Body) -> Body:
    """As fuse leaves it, with a vertex every few tenths: walls and gaps are read at vertices."""
    mesh, origin = split_long_edges(body.mesh, 0.25)
    return Body(mesh, body.part_of_triangle[origin], body.part_names)


def master_of(body: Body) -> Mesh:
    points = (GROWN * np.asarray(body.mesh.points, np.float64)).astype(np.float32)
    return Mesh(points, body.mesh.triangles)


def codes(result):
    return sorted(finding.code for finding in result.findings)


def test_the_same_body_is_as_it_was():
    result = rechecked_as(mushroom(), mushroom())
    assert not result.findings
    assert not len(result.worse_mm)
    assert result.says == "nothing worse than on the body"
    assert {m.name: m.value for m in result.measures}["locked"] == pytest.approx(264.0, rel=0.03)


def test_a_wider_cap_holds_more_and_is_told_where():
    result = rechecked_as(mushroom(), mushroom() + cylinder(5.6, 3.6, 5.4))
    (finding,) = result.findings
    assert (finding.code, finding.verdict, finding.part) == ("more-locked", Verdict.WATCH, "figure")
    assert finding.measured == pytest.approx(
        np.pi * (5.6**2 - 2.0**2) * 3.6, rel=0.05
    )  # the lower rim is 3.6 up
    assert "holds 26" in finding.says
    assert len(result.worse_mm) == 1
    assert result.says == "1 lock larger than on the body"


def test_a_thinner_wall_and_a_narrower_gap_are_told():
    block = Manifold.cube((6.0, 4.0, 1.0), True)

    def fins(thick, apart):
        fin = Manifold.cube((thick, 3.0, 2.0), True).translate((0.0, 0.0, 1.25))
        return block + fin.translate((-1.5, 0.0, 0.0)) + fin.translate((-1.5 + thick + apart, 0.0, 0.0))

    def rechecked(before, after):
        return rechecked_as(before, after, ProcessKind.PRINT_ONLY)

    assert not codes(rechecked(fins(0.5, 2.0), fins(0.5, 2.0)))
    thinner = rechecked(fins(0.5, 2.0), fins(0.38, 2.0))
    assert set(codes(thinner)) == {"thinner-wall"}
    assert thinner.findings[0].measured == pytest.approx(0.38, abs=0.01)
    narrower = rechecked(fins(1.0, 0.28), fins(1.0, 0.2))
    assert "narrower-gap" in codes(narrower)
    told = next(finding for finding in narrower.findings if finding.code == "narrower-gap")
    assert told.measured == pytest.approx(0.2, abs=0.01)
    # wider than its limit before, and the other way round
    assert "thinner-wall" in codes(rechecked(fins(0.8, 2.0), fins(0.5, 2.0)))
    assert not codes(rechecked(fins(0.38, 2.0), fins(0.5, 2.0)))


def test_what_production_added_is_no_wall_of_the_body():
    tab = Manifold.cube((0.4, 4.0, 4.0), True).translate((0.0, 0.0, -3.9))
    assert "thinner-wall" not in codes(rechecked_as(mushroom(), mushroom() + tab))


def test_without_a_mould_only_walls_and_gaps_are_read():
    post, cap = Manifold.cube((2.0, 2.0, 3.0), True), Manifold.cube((6.0, 6.0, 1.5), True)
    wider = post + cap.translate((0.0, 0.0, 2.0)) + cap.translate((0.0, 0.0, -2.0))
    result = rechecked_as(post, wider, ProcessKind.PRINT_ONLY)
    assert not codes(result)
    assert {m.name: m.value for m in result.measures}["locked"] == 0.0
    assert "more-locked" in codes(rechecked_as(post, wider))
