"""Slow and obvious: the closest place on triangles, and the winding number, one query and triangle at a time."""

import numpy as np


def nearest_on_segment(place, start, end):
    """The nearest place of a segment."""
    edge = end - start
    length2 = edge @ edge
    share = 0.0 if length2 == 0.0 else np.clip((place - start) @ edge / length2, 0.0, 1.0)
    return start + share * edge


def nearest_on_triangle(place, corners):
    """The nearest place of a triangle: the foot of the plumb line if it falls inside, else on an edge."""
    a, b, c = corners
    normal = np.cross(b - a, c - a)
    choices = [nearest_on_segment(place, corners[i], corners[(i + 1) % 3]) for i in range(3)]
    longest = max(np.linalg.norm(corners[i] - corners[(i + 1) % 3]) for i in range(3))
    size = np.linalg.norm(normal)
    if size > 1e-12 * longest**2:
        unit = normal / size
        foot = place - ((place - a) @ unit) * unit
        if all(
            np.cross(corners[(i + 1) % 3] - corners[i], foot - corners[i]) @ unit >= 0.0 for i in range(3)
        ):
            choices.append(foot)
    return min(choices, key=lambda choice: np.linalg.norm(place - choice))


def closest(corners, queries):
    """Distances (n, m): every query against every triangle."""
    return np.array(
        [
            [np.linalg.norm(query - nearest_on_triangle(query, triangle)) for triangle in corners]
            for query in queries
        ]
    )


def winding_number(corners, queries):
    """The sum of all solid angles over 4 pi (Van Oosterom and Strackee 1983)."""
    to_corner = corners[None] - queries[:, None, None]
    a, b, c = np.moveaxis(to_corner, 2, 0)
    la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))
    top = np.einsum("ijk,ijk->ij", a, np.cross(b, c))
    under = la * lb * lc + (a * b).sum(-1) * lc + (b * c).sum(-1) * la + (c * a).sum(-1) * lb
    return (2.0 * np.arctan2(top, under)).sum(axis=1) / (4.0 * np.pi)
