"""Measures of props: what the maker may choose, in one place."""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class PropShapes:
    """Lengths in millimetres, for all parts of a prop.

    Attributes
    ----------
    fine_tip_mm, tip_mm, tip_most_mm : float
        Neck on thin points, neck by default, and the thickest that the figure may get.
    tab_tip_mm, tab_tip_most_mm : float
        The same on the tab's end.
    tip_length_mm : float
        From the neck to where the post begins.
    depth_mm : float
        How deep a tip enters the piece.
    post_mm, post_most_mm : float
        Posts are so thick at least, and at most.
    lean_deg : float
        Lean from upright with which props go to meet others; round the figure they may lean 45 degrees. Less lean bends
        posts less. Chosen.
    clearance_mm : float
        Between posts and the figure.
    foot_mm, foot_height_mm : float
        Diameter of a foot, and where it has narrowed to the post.
    """

    fine_tip_mm: float = 0.2
    tip_mm: float = 0.3
    tip_most_mm: float = 0.6
    tab_tip_mm: float = 0.6
    tab_tip_most_mm: float = 1.6
    tip_length_mm: float = 1.6
    depth_mm: float = 0.12
    post_mm: float = 0.5
    post_most_mm: float = 3.0
    lean_deg: float = 30.0
    clearance_mm: float = 0.4
    foot_mm: float = 2.0
    foot_height_mm: float = 1.2

    def foot_radius_mm(self, post_mm: float) -> float:
        """Of a foot under a post of such a radius."""
        return max(0.5 * self.foot_mm, FOOT_RATIO * post_mm)


FOOT_RATIO = 1.6
"""A foot is wider than its post by this at least. Common practice, no source."""


def foot_mm3(shapes: PropShapes, radius_mm: float) -> float:
    """Resin of a foot beside its post, which is of such a radius: a cone cut off."""
    wide, high = shapes.foot_radius_mm(radius_mm), shapes.foot_height_mm
    return math.pi * high * ((wide**2 + wide * radius_mm + radius_mm**2) / 3.0 - radius_mm**2)
