"""What the proof is told about a piece: the job's own figures, as plain arrays and numbers."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Part, measure_solid
from firstcast.geometry.pieces import Side
from firstcast.proof.expected import Ball, Box, Expected, PartShape
from firstcast.steps import Master, Order, Outcome
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Make, ShellKind

CREASE_PITCHES = 3.5
"""What sampling cuts from a wedge of 15 degrees, the sharpest that the tests of fuse hold."""


BLOCK_MARGIN_MM = 1.0
"""How far beyond the parts the block reaches that stands for what a cut takes away: sheets have a thickness."""


def expected_of(master: Master, order: Order, outcome: Outcome) -> Expected:
    """What a written master must be.

    Tolerance: the field's share of the pitch, the tolerance of reduce, float32's rounding, and what carry moved any place
    by at most, in this order.
    """
    piece = master.piece
    limits = outcome.get("plan").field("limits")
    matrix = np.asarray(outcome.get("allow", piece).field("matrix"), dtype=np.float64)
    mesh = outcome.get("join", master.name).field("mesh")
    light = outcome.get("reduce", master.name).field("mesh")
    pitch_mm = float(np.max(outcome.get("fuse", piece).field("pitch_mm")))
    low, high = light.bounds
    scale = float(np.linalg.norm(matrix, 2))
    carried_mm = outcome.get("carry", piece).field("most_mm") if master.make is Make.CARRIED else 0.0
    rounding_mm = float(np.spacing(np.float32(np.abs([low, high]).max())))
    shapes: list[PartShape] = []
    for name in order.pieces[piece]:
        shapes += part_shapes(outcome.get("intake", name).field("part"))
    cut = outcome.get("fuse", piece).field("cut")
    if cut is not None:
        shapes.append(PartShape("cut", _beyond(cut, shapes), role="taken"))
    for fill in outcome.get("mould", piece).field("fills"):
        corners = np.concatenate([lump.corners for lump in fill.lumps])
        shapes.append(PartShape(fill.name, np.ascontiguousarray(corners, np.float64), role="added"))
    joined = outcome.get("join", master.name)
    to_figure = np.linalg.inv(matrix).T
    for fitting in joined.field("fittings"):
        corners = np.ascontiguousarray(fitting.mesh.corners @ to_figure)
        shapes.append(PartShape(fitting.name, corners, role="added" if fitting.adds else "taken"))
    tab = joined.field("tab")
    if tab is not None:
        shapes.append(PartShape("tab", np.ascontiguousarray(tab.mesh.corners @ to_figure), role="added"))
    extents = mesh.bounds[1] - mesh.bounds[0]
    return Expected(
        name=master.name,
        extents_mm=(float(extents[0]), float(extents[1]), float(extents[2])),
        matrix=matrix,
        tolerance_mm=TOLERANCES.field_pitches * pitch_mm * scale
        + limits.reduce_tolerance_mm
        + rounding_mm
        + carried_mm,
        pitch_mm=pitch_mm,
        parts=tuple(shapes),
        crease_mm=CREASE_PITCHES * pitch_mm * scale + limits.reduce_tolerance_mm + carried_mm,
        exempt=mended_places(piece, outcome, pitch_mm),
        volume_mm3=measure_solid(mesh).volume,
    )


def _beyond(cut: Side, shapes: Sequence[PartShape]) -> npt.NDArray[np.float64]:
    """(12, 3, 3) corners, outward, of a block that holds all of the parts that lies beyond the plane of a cut."""
    into = np.asarray(cut.toward, np.float64) / np.linalg.norm(cut.toward)
    along = np.cross(into, np.eye(3)[int(np.argmin(np.abs(into)))])
    along /= np.linalg.norm(along)
    axes = np.stack([along, np.cross(into, along), into])
    places = np.concatenate([shape.corners.reshape(-1, 3) for shape in shapes]) @ axes.T
    level = float(np.asarray(cut.place_mm) @ into)
    low, high = places.min(axis=0) - BLOCK_MARGIN_MM, places.max(axis=0) + BLOCK_MARGIN_MM
    high[2], low[2] = level, min(low[2], level - BLOCK_MARGIN_MM)
    corners = np.where(np.array(list(np.ndindex(2, 2, 2)), dtype=bool), high, low) @ axes
    # corner 4 i + 2 j + k of the block; each face as two triangles, counter-clockwise from outside
    faces = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    rows = [row for a, b, c, d in faces for row in ((a, b, c), (a, c, d))]
    return np.ascontiguousarray(corners[np.array(rows)])


def part_shapes(part: Part) -> list[PartShape]:
    """A part's closed shells as one shape, and each thickness of its sheets as another."""
    corners = part.mesh.corners
    groups: dict[tuple[bool, float], list[np.ndarray]] = {}
    for shell in part.shells:
        closed = shell.kind is not ShellKind.SHEET
        groups.setdefault((closed, shell.thickness), []).append(corners[shell.start : shell.stop])
    return [
        PartShape(
            part.name, np.ascontiguousarray(np.concatenate(found)), 0.0 if closed else thickness, closed
        )
        for (closed, thickness), found in groups.items()
    ]


def mended_places(piece: str, outcome: Outcome, pitch_mm: float) -> tuple[Ball | Box, ...]:
    """Where fuse changed the surface on purpose."""
    fused = outcome.get("fuse", piece)
    balls = [
        Ball(
            (float(x), float(y), float(z)),
            float(radius) + pitch_mm,
            "filled or dropped by fuse",
        )
        for x, y, z, radius in fused.field("mended")
    ]
    return tuple(balls)
