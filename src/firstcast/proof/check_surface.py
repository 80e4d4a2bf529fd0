"""Rows on the surface itself: closed, outward, one body, nothing inside, nothing crossing."""

import numpy as np
import numpy.typing as npt

from firstcast.proof.crossing import crossing_depths, find_crossings
from firstcast.proof.distances import windings
from firstcast.proof.rows import ProofRow, counted, many, place
from firstcast.proof.surface import Connections, measure
from firstcast.proof.tree import Tree, build_tree

BODIES_LOOKED_AT = 64
"""Of more bodies than this only the first are looked at for nesting: their number is a fault already."""


def connection_rows(
    points: npt.NDArray[np.float32], found: Connections, triangle_count: int
) -> list[ProofRow]:
    """Edges, fans, degenerate triangles."""
    rows = []
    for check, edges, says in (
        ("edges with one triangle", found.open_edges, "open"),
        ("edges with more than two triangles", found.crowded_edges, "crowded"),
        (
            "edges run along twice the same way",
            found.turned_edges,
            "between triangles wound against each other",
        ),
    ):
        text = f"none of {many(3 * triangle_count // 2, 'edge')} is {says}"
        if len(edges):
            middle = points[edges[0]].astype(np.float64).mean(axis=0)
            text = f"{many(len(edges), 'edge')} {says}, the first at {place(middle)}"
        rows.append(counted(check, text, len(edges)))
    text = "one fan of triangles around each corner"
    if len(found.pinched):
        first = place(points[found.pinched[0]])
        text = f"{many(len(found.pinched), 'corner')} where the surface is pinched, the first at {first}"
    rows.append(counted("pinched corners", text, len(found.pinched)))
    return rows


def body_rows(corners: npt.NDArray[np.float64], found: Connections, expected_bodies: int) -> list[ProofRow]:
    """Number of bodies, each outward, none within another."""
    handles = f", {many(found.genus, 'handle')} through it" if found.closed else ""
    euler = f"{many(found.bodies, 'body', 'bodies')}{handles} (Euler number {found.euler})"
    off = abs(found.bodies - expected_bodies)
    rows = [counted("separate bodies", f"{euler}; {expected_bodies} expected", off)]
    looked = min(found.bodies, BODIES_LOOKED_AT)
    inward, nested, first = 0, 0, ""
    for body in range(looked):
        own = corners[found.body_of_triangle == body] if found.bodies > 1 else corners
        if measure(own).volume_mm3 <= 0.0:
            inward += 1
            first = first or place(own[0, 0])
        if looked > 1:
            others = build_tree(corners[found.body_of_triangle != body])
            if windings(others, own[:1, 0])[0] != 0:
                nested += 1
                first = first or place(own[0, 0])
    text = "every body is wound outward and lies in no other: no void, nothing hidden inside"
    if inward or nested:
        text = f"{inward} wound inward, {nested} inside another body, the first at {first}"
    rows.append(counted("inside the body", text, inward + nested))
    return rows


def crossing_rows(
    points: npt.NDArray[np.float32], triangles: npt.NDArray[np.int32], degenerate: int, tree: Tree
) -> list[ProofRow]:
    """Crossings of the surface with itself, and triangles without area."""
    found = find_crossings(points, triangles, tree)
    text = f"no two of {many(len(triangles), 'triangle')} meet but in what they share (exact signs)"
    if found.pairs:
        pairs = found.first[:4096]
        depths = crossing_depths(points[triangles].astype(np.float64), pairs)
        depths = np.where(np.isfinite(depths), depths, 0.0)
        deepest = int(np.argmax(depths))
        where = points[triangles[pairs[deepest, 0]]].astype(np.float64).mean(axis=0)
        text = (
            f"{many(found.pairs, 'pair')} of triangles cross or touch, "
            f"the deepest by about {depths[deepest] * 1e3:.3g} µm at {place(where)}"
        )
    flat = len(found.without_area)
    flat_text = "every triangle has area"
    if flat:
        where = points[triangles[found.without_area[0]]].astype(np.float64).mean(axis=0)
        flat_text = f"{many(flat, 'triangle')} without area, the first at {place(where)}"
    return [
        counted("self-crossings", text, found.pairs),
        counted("triangles without area", flat_text, max(flat, degenerate)),
    ]
