"""Rotations as matrices: about an axis, leaning towards a side, and the one nearest to given rows.

Right-handed: a positive angle turns x towards y about z.
"""

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError

Turn = npt.NDArray[np.float64]

ROUNDED = 2e-3
"""How far rows may be from a rotation: what three decimals leave of it, with room for a slip in the last."""

UP = np.array([0.0, 0.0, 1.0])


def turn_about(axis: npt.ArrayLike, angle_deg: float) -> Turn:
    """(3, 3) float64: the rotation by an angle about an axis of any length (O. Rodrigues, 1840).

    Raises
    ------
    InputError
        The axis has no direction.
    """
    given = np.asarray(axis, dtype=np.float64)
    # Scaled first, so that very short and very long axes keep their direction.
    largest = np.abs(given).max()
    if not (np.isfinite(given).all() and largest > 0):
        raise InputError("the axis has no direction", where="turn", mend="Give an axis that is not zero.")
    x, y, z = (given / largest) / np.linalg.norm(given / largest)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    angle = np.radians(angle_deg)
    # 1 - cos loses all digits of small angles.
    return np.eye(3) + np.sin(angle) * cross + 2.0 * np.sin(0.5 * angle) ** 2 * (cross @ cross)


def leaned(towards: npt.ArrayLike, angle_deg: float) -> Turn:
    """(3, 3) float64: the rotation that tips z towards a level direction, (3,), the least that does."""
    return turn_about(np.cross(UP, np.asarray(towards, dtype=np.float64)), angle_deg)


def tilt_deg(turn: npt.ArrayLike) -> float:
    """The angle between z and where a rotation takes it."""
    _, _, z = np.asarray(turn, dtype=np.float64) @ UP
    return float(np.degrees(np.arccos(np.clip(z, -1.0, 1.0))))


def nearest_turn(rows: npt.ArrayLike) -> Turn:
    """(3, 3) float64: the rotation nearest to rows that are one but for rounding (their polar factor).

    Raises
    ------
    InputError
        The rows are further from a rotation than rounding takes them, or mirror.
    """
    given = np.asarray(rows, dtype=np.float64)
    # No entry of a rotation is above 1; held below what overflows when squared.
    held = np.clip(given, -2.0, 2.0)
    off = float(np.abs(held @ held.T - np.eye(3)).max())
    if not off <= ROUNDED:
        raise InputError(
            f"the rows are not three unit vectors at right angles (off by {off:.2g})",
            where="turn",
            mend="Give a rotation to four decimals, or an axis and an angle: [x, y, z, degrees].",
        )
    if np.linalg.det(given) < 0:
        raise InputError(
            "the rows mirror the figure", where="turn", mend="Change the signs of one row, all three."
        )
    left, _, right = np.linalg.svd(given)
    return left @ right
