"""Where a piece would best be split in two, and how the job file says it."""

from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.geometry.footing import frame_into, regions_of
from firstcast.geometry.joint_room import column_of, widest_place
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.pieces import Side

STEP_MM = 0.4
"""Planes that are looked at lie so far apart."""

FINE_MM = 0.01
"""Outlines are drawn to this while room is sought in them."""

DIGITS = 3
"""Decimals of a place and a direction in the job file."""


class Split(NamedTuple):
    """A plane at which a piece would be split.

    Attributes
    ----------
    side : Side
        The plane; `toward` leads to one of the two halves. Its numbers are as rounded as the job file's.
    radius_mm : float
        Of the largest circle in the section: room for a peg.
    seam_mm : float
        Length of the section's outline: what will show.
    """

    side: Side
    radius_mm: float
    seam_mm: float


def best_split(
    body: Mesh,
    place_mm: npt.ArrayLike,
    ways: Iterable[npt.ArrayLike],
    *,
    within_mm: float,
    least_radius_mm: float,
) -> Split | None:
    """The plane near a place with the shortest seam for the room that it gives a peg.

    Parameters
    ----------
    body : Mesh
        Closed and outward, figure mm.
    place_mm : (3,)
        Where it should be split: what the mould can't let go of.
    ways : directions (3,)
        Normals of planes to look at.
    within_mm : float
        How far from the place, along its normal, a plane may lie.
    least_radius_mm : float
        The section holds a circle of at least this: half a peg, its play and its walls.

    Returns
    -------
    Split or None
        None where no plane cuts the body in one stout region.
    """
    place = np.asarray(place_mm, np.float64)
    best: tuple[float, Split] | None = None
    for way in ways:
        frame = frame_into(np.asarray(way, np.float64))
        steps = STEP_MM * np.arange(-int(within_mm / STEP_MM), int(within_mm / STEP_MM) + 1)
        for step in steps[np.argsort(np.abs(steps), kind="stable")]:
            column = column_of(body, frame, place, [float(step)])
            regions = regions_of(column.sections[0]) if column.sections else []
            if len(regions) != 1:
                continue
            region = regions[0].simplify(FINE_MM)
            (u, v), radius = widest_place(region)
            if radius < least_radius_mm:
                continue
            seam = sum(
                float(np.linalg.norm(np.diff(loop, axis=0, append=loop[:1]), axis=1).sum())
                for loop in (np.asarray(loop) for loop in region.to_polygons())
            )
            cost = seam / radius
            if best is None or cost < best[0] * (1.0 - 1e-6):
                middle = place + u * frame.along + v * frame.across + step * frame.into
                best = cost, Split(_side(middle, frame.into), radius, seam)
    return None if best is None else best[1]


def _side(place: npt.NDArray[np.float64], toward: npt.NDArray[np.float64]) -> Side:
    x, y, z = (round(float(c), DIGITS) + 0.0 for c in place)
    a, b, c = (round(float(c), DIGITS) + 0.0 for c in toward)
    return Side((x, y, z), (a, b, c))


def split_words(piece: str, parts: Sequence[str], split: Split, *, peg_side: str = "lower") -> str:
    """What to write into the job file in place of a piece, so that it is split and joined again.

    Parameters
    ----------
    piece : str
        Its name; the halves are called after it.
    parts : sequence of str
        As the job file names them.
    split : Split
    peg_side : "lower" or "upper"
        Which half bears the peg: "upper" is where `split.side.toward` leads.
    """
    listed = ", ".join(f'"{part}"' for part in parts)
    place = _numbers(split.side.place_mm)
    back = tuple(-c + 0.0 for c in split.side.toward)
    halves = ((f"{piece} lower", back), (f"{piece} upper", split.side.toward))
    lines = [
        f'[[piece]]\nname = "{name}"\nparts = [{listed}]\n'
        f"keep = {{ place_mm = {place}, toward = {_numbers(toward)} }}\n"
        for name, toward in halves
    ]
    other = "upper" if peg_side == "lower" else "lower"
    lines.append(f'[[joint]]\nname = "{piece}"\npeg = "{piece} {peg_side}"\nsocket = "{piece} {other}"\n')
    return "\n".join(lines)


def _numbers(values: tuple[float, ...]) -> str:
    return f"[{', '.join(f'{value:g}' for value in values)}]"
