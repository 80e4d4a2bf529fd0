"""Walls and gaps of the parts that are narrower than sampling can carry.

A lattice of some pitch can't hold a wall, nor a gap, narrower than two pitches: it tears the one and closes
the other. The proof tells such places apart by measuring the sculptor's parts, not by asking who made the body.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.proof.distances import nearest, windings
from firstcast.proof.tree import Tree

NARROW_PITCHES = 2.0
STEPS = 20
"""Places looked at per run: a tenth of a pitch apart. What a run steps over, it doesn't find: then the place
counts as wide, and is held to more."""


class Sheet(NamedTuple):
    """An open part: its tree, half its thickness at master size, its index among the parts."""

    tree: Tree
    half_mm: float
    part: int


class Change(NamedTuple):
    """What production adds to the parts or takes out of them: the tree over closed shells, outward."""

    adds: bool
    tree: Tree


class Solid(NamedTuple):
    """All parts at master size: the tree over the closed ones (None: there are none), the sheets, and what is changed of them.

    Changes are made in their order: a socket goes through a fill that was made before it, and a peg stands in a bed.
    """

    closed: Tree | None
    sheets: tuple[Sheet, ...]
    changes: tuple[Change, ...] = ()

    def holds(self, points_mm: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        """(n,) which of the (n, 3) places are inside a closed part or a sheet's thickness, once all changes are made."""
        inside = np.zeros(len(points_mm), dtype=np.bool_)
        if self.closed is not None and len(points_mm):
            inside = windings(self.closed, points_mm) > 0
        for sheet in self.sheets:
            outside = np.flatnonzero(~inside)
            inside[outside] = nearest(sheet.tree, points_mm[outside]).distance < sheet.half_mm
        for change in self.changes if len(points_mm) else ():
            inside[windings(change.tree, points_mm) > 0] = change.adds
        return inside


def narrow_at(
    solid: Solid, points_mm: npt.NDArray[np.float64], normals: npt.NDArray[np.float64], pitch_mm: float
) -> npt.NDArray[np.bool_]:
    """(n,) whether the wall or the gap that each point lies in is narrower than two pitches.

    It is measured along the normal, and across it one pitch on: there the end of a thin pin and the floor of a
    narrow slot show.

    Parameters
    ----------
    solid : Solid
    points_mm : (n, 3) float64
        Beside the parts' surface, not on it: their own side tells a wall from a gap.
    normals : (n, 3) float64
        Unit normals of the parts' surface.
    pitch_mm : float
    """
    inside = solid.holds(points_mm)
    narrow = _runs_short(solid, points_mm, inside, normals, pitch_mm)
    wide = np.flatnonzero(~narrow)
    onward = points_mm[wide] + np.where(inside[wide], -pitch_mm, pitch_mm)[:, None] * normals[wide]
    same = solid.holds(onward) == inside[wide]
    wide, onward = wide[same], onward[same]
    for axes in across(normals[wide]):
        narrow[wide] |= _runs_short(solid, onward, inside[wide], axes, pitch_mm)
    return narrow


def _runs_short(solid: Solid, points, inside, axes, pitch_mm: float) -> npt.NDArray[np.bool_]:
    """(n,) whether the run through each point along its axis leaves its own side within two pitches in all."""
    total = np.zeros(len(points))
    for sign in (1.0, -1.0):
        gone = np.full(len(points), np.inf)
        left = np.flatnonzero(np.isfinite(total))
        for step in range(1, STEPS + 1):
            length = step * NARROW_PITCHES / STEPS
            changed = solid.holds(points[left] + sign * length * pitch_mm * axes[left]) != inside[left]
            gone[left[changed]] = length
            left = left[~changed]
        total += gone
    return np.asarray(total < NARROW_PITCHES)


def across(normals: npt.NDArray[np.float64]) -> list[npt.NDArray[np.float64]]:
    """Four directions (n, 3) across each normal, 45 degrees apart."""
    least = np.eye(3)[np.argmin(np.abs(normals), axis=1)]
    first = np.cross(normals, least)
    first /= np.maximum(np.linalg.norm(first, axis=1), 1e-300)[:, None]
    second = np.asarray(np.cross(normals, first), dtype=np.float64)
    half = float(np.sqrt(0.5))
    return [first, second, half * (first + second), half * (first - second)]
