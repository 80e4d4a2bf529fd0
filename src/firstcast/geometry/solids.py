"""Exact solid work on clean shapes: a thin, checked layer over manifold3d.

manifold3d answers an open, flipped or doubled mesh with an empty body and a status, accepts an inverted
body with negative volume, and does not unite overlapping shells of one mesh. Nothing of that gets past here.
A shell that crosses itself is accepted silently and its volume may be wrong: `geometry.crossings` finds it.
"""

from collections.abc import Sequence

import manifold3d
import numpy as np
from manifold3d import CrossSection, Manifold

from firstcast.arrays import check_points, check_triangles
from firstcast.errors import InputError
from firstcast.geometry.mesh import Mesh


def raw_manifold(mesh: Mesh, *, where: str = "solid", face_id: np.ndarray | None = None) -> Manifold:
    """The mesh as manifold3d takes it, shell by shell as it stands; coordinates keep their digits.

    Raises
    ------
    InputError
        The mesh is not closed and manifold.
    """
    points = check_points(mesh.points, where=where)
    triangles = check_triangles(mesh.triangles, len(points), where=where)
    if not len(triangles):
        return Manifold()
    given = manifold3d.Mesh64(
        np.array(points), triangles.astype(np.uint64),
        face_id=None if face_id is None else np.array(face_id, dtype=np.uint64),
    )  # fmt: skip
    body = Manifold(given)
    if body.status() != manifold3d.Error.NoError:
        open_edges, crowded = _edge_faults(triangles)
        raise InputError(
            f"not a closed manifold mesh ({body.status().name}): {open_edges} edges without a partner, "
            f"{crowded} edges in more than two triangles",
            where=where,
            mend="Pass it through intake, which closes holes and turns triangles outward.",
        )
    return body


def _edge_faults(triangles: np.ndarray) -> tuple[int, int]:
    """Directed edges without exactly one opposite, and undirected edges in more than two triangles."""
    wide = triangles.astype(np.int64)
    start, end = wide.ravel(), np.roll(wide, -1, axis=1).ravel()
    size = int(wide.max()) + 1
    keys, counts = np.unique(start * size + end, return_counts=True)
    opposite = np.isin(keys % size * size + keys // size, keys)
    both = np.minimum(start, end) * size + np.maximum(start, end)
    _, uses = np.unique(both, return_counts=True)
    return int(counts[~opposite].sum() + (counts[counts > 1] - 1).sum()), int((uses > 2).sum())


def to_manifold(mesh: Mesh, *, where: str = "solid") -> Manifold:
    """The solid that a closed outward mesh bounds: overlapping shells united, hollows kept hollow.

    Raises
    ------
    InputError
        The mesh is open or not manifold, encloses nothing, or is wound inside out.
    """
    body = raw_manifold(mesh, where=where)
    if body.is_empty():
        raise InputError("there is nothing solid in the mesh", where=where, mend="Leave empty meshes out.")
    shells = body.decompose()
    outer = [shell for shell in shells if shell.volume() > 0.0]
    hollow = [shell for shell in shells if shell.volume() < 0.0]
    if not outer:
        raise InputError(
            f"the mesh is wound inside out: its volume is {body.volume():.6g} mm³",
            where=where,
            mend="Turn its triangles round, or pass it through intake.",
        )
    solids = [_hollowed(shell, hollow, where) for shell in outer]
    homeless = [h for h in hollow if not any(_holds(shell, h) for shell in outer)]
    if homeless:
        raise InputError(
            f"{len(homeless)} of {len(shells)} shells are wound inside out and lie in no other shell",
            where=where,
            mend="Turn their triangles round, or pass the mesh through intake.",
        )
    return solids[0] if len(solids) == 1 else Manifold.batch_boolean(solids, manifold3d.OpType.Add)


def _reversed(shell: Manifold) -> Manifold:
    """An inverted shell turned outward."""
    mesh = from_manifold(shell)
    return raw_manifold(Mesh(mesh.points, np.ascontiguousarray(mesh.triangles[:, ::-1])))


def _holds(shell: Manifold, hollow: Manifold) -> bool:
    """Whether an outward shell wholly contains an inverted one."""
    filled = _reversed(hollow)
    return (filled - shell).volume() <= 1e-9 * filled.volume()


def _hollowed(shell: Manifold, hollow: list[Manifold], where: str) -> Manifold:
    """A shell without the hollows that belong to it: those it contains."""
    own = [_reversed(h) for h in hollow if _holds(shell, h)]
    if not own:
        return shell
    return Manifold.batch_boolean([shell, *own], manifold3d.OpType.Subtract)


def from_manifold(body: Manifold, *, where: str = "solid") -> Mesh:
    """A solid as a mesh: points (n, 3) float64, triangles (m, 3) int32.

    Raises
    ------
    InputError
        The solid carries an error from an earlier step.
    """
    if body.status() != manifold3d.Error.NoError:
        raise InputError(
            f"solid work failed: {body.status().name}", where=where, mend="Check the solids given to it."
        )
    out = body.to_mesh64()
    points = np.array(out.vert_properties, dtype=np.float64).reshape(-1, 3)
    return Mesh(points, np.array(out.tri_verts, dtype=np.int32).reshape(-1, 3))


def _combined(solids: Sequence[Manifold], operation: manifold3d.OpType, where: str) -> Manifold:
    if not solids:
        raise InputError("there are no solids", where=where, mend="Give at least one.")
    result = solids[0] if len(solids) == 1 else Manifold.batch_boolean(list(solids), operation)
    if result.status() != manifold3d.Error.NoError:
        raise InputError(
            f"failed with {result.status().name}", where=where, mend="Check the solids given to it."
        )
    return result


def union(solids: Sequence[Manifold]) -> Manifold:
    """What lies in any of the solids."""
    return _combined(solids, manifold3d.OpType.Add, "union")


def difference(solids: Sequence[Manifold]) -> Manifold:
    """What lies in the first solid and in none of the others."""
    return _combined(solids, manifold3d.OpType.Subtract, "difference")


def box(
    size_mm: tuple[float, float, float], *, at_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> Manifold:
    """A box with its middle at `at_mm`."""
    _demand(min(size_mm) > 0.0, f"size {size_mm} mm is not positive", "box", "Give three positive lengths.")
    return Manifold.cube(size_mm, True).translate(at_mm)


def cylinder(height_mm: float, radius_mm: float, *, sag_mm: float = 0.005) -> Manifold:
    """An upright cylinder on z = 0 whose facets stay within `sag_mm` of the circle."""
    _demand(
        height_mm > 0.0 and radius_mm > sag_mm > 0.0,
        f"height {height_mm} mm, radius {radius_mm} mm, sag {sag_mm} mm do not make a cylinder",
        "cylinder",
        "Give a positive height and a radius above the sag.",
    )
    facets = max(8, int(np.ceil(np.pi / np.arccos(1.0 - sag_mm / radius_mm))))
    return Manifold.cylinder(height_mm, radius_mm, radius_mm, facets)


def prism(outline_mm: np.ndarray, height_mm: float, *, draft_deg: float = 0.0) -> Manifold:
    """A convex outline (n, 2), counter-clockwise at z = 0, run down to z = -height_mm, every side drafted inward.

    Raises
    ------
    InputError
        The outline is not convex and counter-clockwise, or the draft closes it before the end.
    """
    outline = np.asarray(outline_mm, dtype=np.float64)
    edge = np.roll(outline, -1, axis=0) - outline
    turn = edge[:, 0] * np.roll(edge[:, 1], -1) - edge[:, 1] * np.roll(edge[:, 0], -1)
    _demand(
        len(outline) >= 3 and bool((turn > 0.0).all()) and height_mm > 0.0 and 0.0 <= draft_deg < 45.0,
        f"{len(outline)} corners, height {height_mm} mm, draft {draft_deg} degrees do not make a prism",
        "prism",
        "Give a convex outline counter-clockwise, a positive height and a draft of 0 to 45 degrees.",
    )
    inset = height_mm * np.tan(np.radians(draft_deg))
    end = inset_outline(outline, inset)
    if end is None:
        raise InputError(
            f"a draft of {draft_deg} degrees over {height_mm} mm insets {inset:.3f} mm, more than the outline has",
            where="prism",
            mend="Lower the height or the draft.",
        )
    count = len(outline)
    points = np.concatenate(
        [np.column_stack([outline, np.zeros(count)]), np.column_stack([end, np.full(count, -height_mm)])]
    )
    return raw_manifold(Mesh(points, _prism_triangles(count)), where="prism")


def inset_outline(outline: np.ndarray, inset_mm: float) -> np.ndarray | None:
    """A convex counter-clockwise outline with each side moved inward; None if a side would vanish."""
    edge = np.roll(outline, -1, axis=0) - outline
    length = np.linalg.norm(edge, axis=1)
    along = edge / length[:, None]
    inward = np.column_stack([-along[:, 1], along[:, 0]])
    before = np.roll(inward, 1, axis=0)
    share = 1.0 + (inward * before).sum(axis=1)
    moved = outline + inset_mm * (inward + before) / share[:, None]
    left = ((np.roll(moved, -1, axis=0) - moved) * along).sum(axis=1)
    return moved if (left > 0.0).all() else None


def _prism_triangles(count: int) -> np.ndarray:
    """Triangles of a prism: corners 0 .. count-1 on top, count .. 2 count-1 below."""
    fan = np.array([[0, k, k + 1] for k in range(1, count - 1)])
    after = np.roll(np.arange(count), -1)
    sides = [[k + count, after[k] + count, after[k]] for k in range(count)]
    sides += [[k + count, after[k], k] for k in range(count)]
    return np.concatenate([fan, fan[:, ::-1] + count, np.array(sides)]).astype(np.int32)


def outline_section(loops_mm: Sequence[np.ndarray]) -> CrossSection:
    """The area that closed loops (n, 2) wind round: outer loops counter-clockwise, holes clockwise."""
    return CrossSection([np.ascontiguousarray(loop) for loop in loops_mm], manifold3d.FillRule.Positive)


def _demand(holds: bool, what: str, where: str, mend: str) -> None:
    if not holds:
        raise InputError(what, where=where, mend=mend)
