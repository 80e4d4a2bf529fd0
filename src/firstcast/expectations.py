"""What the proof is told about a piece: the job's own figures, as plain arrays and numbers."""

import numpy as np

from firstcast.geometry.mesh import Part, measure_solid
from firstcast.proof.expected import Ball, Box, Expected, PartShape
from firstcast.steps import Master, Order, Outcome
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Make, ShellKind

CREASE_PITCHES = 3.5
"""What sampling cuts from a wedge of 15 degrees, the sharpest that the tests of fuse hold."""


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
    tab = outcome.get("join", master.name).field("tab")
    if tab is not None:
        corners = tab.mesh.corners @ np.linalg.inv(matrix).T
        shapes.append(PartShape("tab", np.ascontiguousarray(corners)))
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
