"""A wall with ribs through print and paint, without carry and with it, in section."""

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from manifold3d import triangulate

from firstcast.forecast.carry import carry
from firstcast.forecast.chain_on_mesh import forward_of, normals_of
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.refine import split_long_edges
from firstcast.process.chain import ChainScenario, null_chain
from firstcast.process.films import Film
from firstcast.process.light import overdose_ratio
from firstcast.process.spread import GaussianSpread

from .plot import Frame, axes, placed, spot
from .sheet import ACCENT, CLAY, HEADING, SMALL, area, dimension, line, sheet, words

Values = npt.NDArray[np.float64]

PERIOD_MM, DEPTH_MM, RIBS = 0.30, 0.12, 5
WALL_MM, HEIGHT_MM, EDGE_MM = 1.0, 1.2, PERIOD_MM / 16
PIXEL_MM, LAYER_MM, BALL_MM = 0.035, 0.03, 0.06

STEPS, GAIN, ROUNDS = 4, 0.8, 3

CREST_MM, TROUGH_MM = 0.60, 0.75
SEEN_MM = (0.45, 1.05)
"""Of the wall's 1.5 mm: two ribs, from trough to trough."""

SCALE, LEFT, MIDDLE = 900.0, 56.0, 156.0
"""Pixels to a millimetre; where the section begins, and its middle height."""

LIKELY = 1
"""Of the three chains the one that is drawn."""


def chains() -> tuple[ChainScenario, ...]:
    """Print and paint as a gauge leaves them: low, likely, high 5 of 100 apart."""
    found = []
    for share, cured in ((0.95, 0.097), (1.0, 0.100), (1.05, 0.103)):
        depth = 0.1 * share
        found.append(
            replace(
                null_chain((PIXEL_MM, PIXEL_MM), LAYER_MM),
                spread=GaussianSpread(0.02 * share),
                depth_mm=depth,
                overdose=overdose_ratio(cured, depth),
                paint=Film(0.0, BALL_MM * share),
            )
        )
    return tuple(found)


def wall() -> Mesh:
    """A wall whose face y < 0 is a sine across, ribs upright, its lower face flat on the layers."""
    long = RIBS * PERIOD_MM
    x = np.linspace(0.0, long, round(long / EDGE_MM) + 1)
    face = np.stack([x, -0.5 * DEPTH_MM * np.cos(2.0 * np.pi * x / PERIOD_MM)], axis=1)
    rear = np.stack([x[::-1], np.full(len(x), WALL_MM)], axis=1)
    side = np.linspace(0.0, 1.0, round(WALL_MM / EDGE_MM) + 1)[1:-1, None]
    right, left = (a + side * (b - a) for a, b in ((face[-1], rear[0]), (rear[-1], face[0])))
    outline = np.concatenate([face, right, rear, left])
    levels = np.linspace(0.0, HEIGHT_MM, round(HEIGHT_MM / EDGE_MM) + 1)
    count, here = len(outline), np.arange(len(outline))
    points = np.concatenate([np.column_stack([outline, np.full(count, z)]) for z in levels])
    after = (here + 1) % count
    band = np.concatenate(
        [np.stack([here, after, count + after], 1), np.stack([here, count + after, count + here], 1)]
    )
    lid = np.array(triangulate([outline.tolist()]), np.int64)
    bands = [band + count * level for level in range(len(levels) - 1)]
    triangles = np.concatenate([*bands, lid + count * (len(levels) - 1), lid[:, ::-1]])
    return split_long_edges(Mesh(points, triangles.astype(np.int32)), 1.8 * EDGE_MM)[0]


class Section(NamedTuple):
    """The face at half the wall's height, likely, a row a vertex: (n, 2) mm across and out, and (n,) mm."""

    sculpture: Values
    master: Values
    plain: Values
    carried: Values
    length_mm: Values
    plain_off_mm: Values
    carried_off_mm: Values


def section() -> Section:
    """The painted cast of the wall, without carry and with it, two ribs of it."""
    mesh = wall()
    points = _floats(mesh.points)
    normals = normals_of(points, mesh.triangles)
    forward = forward_of(points, mesh.triangles, normals, chains())
    found = carry(forward, points, mesh.triangles, normals, steps=STEPS, gain=GAIN, rounds=ROUNDS)
    ends = []
    for length in (np.zeros(len(points)), found.length_mm):
        forward(length)
        ends.append(forward.ends[LIKELY])
    x, y, z = points.T
    inside = (x > SEEN_MM[0] - 1e-9) & (x < SEEN_MM[1] + 1e-9)
    at = np.flatnonzero(inside & (np.abs(z - 0.5 * HEIGHT_MM) < 1e-9) & (y < 0.5 * DEPTH_MM + 1e-9))
    at = at[np.argsort(x[at])]
    master = points + found.length_mm[:, None] * normals
    outlines = (_floats(place[at, :2] * (1.0, -1.0)) for place in (points, master, *ends))
    lengths = (
        _floats(length[at]) for length in (found.length_mm, found.before_mm[LIKELY], found.after_mm[LIKELY])
    )
    return Section(*outlines, *lengths)


def _floats(values: npt.ArrayLike) -> Values:
    return np.asarray(values, np.float64)


def _pixels(points: npt.ArrayLike) -> Values:
    """Pixels of (n, 2) mm across the wall and out of it."""
    return _floats([LEFT, MIDDLE]) + (_floats(points) - (SEEN_MM[0], 0.0)) * (SCALE, -SCALE)


def _ribs(cut: Section) -> list[str]:
    """The section, magnified: sculpture, master, and both painted casts."""
    foot, (first, last) = MIDDLE + 142.0, _pixels(cut.sculpture)[[0, -1], 0]
    body = [*_pixels(cut.sculpture), (last, foot), (first, foot)]
    parts = [area(body, CLAY), line(_pixels(cut.sculpture), width=0.9)]
    parts += [line(_pixels(cut.master), dash="2 3", width=1.8)]
    parts += [line(_pixels(cut.plain), dash="7 4", width=2.0), line(_pixels(cut.carried), width=2.2)]
    crest, trough = (float(np.interp(at, *cut.plain.T)) for at in (CREST_MM, TROUGH_MM))
    (x, high), (_, low) = _pixels([(TROUGH_MM, crest), (TROUGH_MM, trough)])
    parts += [line(_pixels([(CREST_MM, crest), (CREST_MM + PERIOD_MM, crest)]), width=0.8, dash="2 3")]
    parts += [dimension((x, high), (x, low)), words(x + 10, 0.5 * (high + low), f"{crest - trough:.3f}")]
    crest, trough = (float(np.interp(at, *cut.carried.T)) for at in (CREST_MM + PERIOD_MM, SEEN_MM[1]))
    (x, high), (_, low) = _pixels([(CREST_MM + PERIOD_MM, crest), (0.0, trough)])
    parts += [line([(at, y), (last + 22, y)], width=0.8, dash="2 3") for at, y in ((x, high), (last, low))]
    parts += [dimension((last + 16, high), (last + 16, low), ink=ACCENT)]
    parts += [words(last + 24, 0.5 * (high + low) - 22, "with carry", ink=ACCENT)]
    parts += [words(last + 24, 0.5 * (high + low) - 4, f"{crest - trough:.3f}", ink=ACCENT)]
    parts += [words(last + 24, 0.5 * (high + low) + 14, f"of {DEPTH_MM:.3f}", ink=ACCENT)]
    x, y = _pixels([(CREST_MM, 0.0)])[0]
    parts += [words(x, y - 84, "painted cast without carry", anchor="middle")]
    parts += [words(x + SCALE * PERIOD_MM, y + 44, "sculpture", anchor="middle", ground=CLAY)]
    below = LEFT + SCALE * (TROUGH_MM - SEEN_MM[0])
    parts += [words(below, foot - 16, "master with carry", anchor="middle", ground=CLAY)]
    wide = SCALE * PIXEL_MM
    parts += [dimension((LEFT + 12, foot - 20), (LEFT + 12 + wide, foot - 20))]
    parts += [words(LEFT + wide + 20, foot - 15, "a pixel", size=SMALL, ground=CLAY)]
    return parts


def _lengths(cut: Section) -> list[str]:
    """What is carried, and how far both casts end outside of the sculpture."""
    frame = Frame(LEFT, 352, SCALE * (SEEN_MM[1] - SEEN_MM[0]), 128, SEEN_MM, (-0.06, 0.06))
    parts = axes(
        frame,
        (0.5, 0.6, 0.7, 0.8, 0.9, 1.0),
        (-0.05, 0, 0.05),
        x_title="across the wall, mm",
        y_title="outward along the sculpture's normal, mm",
    )
    rows = (
        ("off without carry", "7 4", cut.plain_off_mm),
        ("off with carry", "", cut.carried_off_mm),
        ("carried", "2 3", cut.length_mm),
    )
    for name, dash, lengths in rows:
        parts.append(line(placed(frame, cut.sculpture[:, 0], lengths), dash=dash, width=2.0))
        x, y = spot(frame, SEEN_MM[1], float(lengths[-1]))
        parts.append(words(x + 8, y + 5, name))
    return parts


def picture() -> str:
    """The page's picture as SVG text."""
    cut = section()
    kept = f"{PERIOD_MM:.2f} mm apart and {DEPTH_MM:.2f} deep, through print and paint, likely figures"
    parts = [
        words(20, 28, f"Ribs {kept}", size=HEADING),
        *_ribs(cut),
        *_lengths(cut),
        words(
            LEFT - 7,
            532,
            f"pixels {PIXEL_MM:g}, layers {LAYER_MM:g}, ball of paint {BALL_MM:g} mm; {STEPS} steps, {ROUNDS} rounds",
            size=SMALL,
        ),
    ]
    shown = "A ribbed wall in section: the sculpture, its painted cast without carry and with it, and what is carried"
    return sheet(546, shown, parts)
