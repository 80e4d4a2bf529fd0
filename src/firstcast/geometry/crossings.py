"""Where a mesh crosses or overlaps itself."""

import numpy as np
import numpy.typing as npt

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tree import Tree, build_tree
from firstcast.kernels.crossings import crossing_partners


def find_crossings(
    mesh: Mesh, *, which: npt.NDArray[np.int32] | None = None, tree: Tree | None = None
) -> npt.NDArray[np.int32]:
    """For each triangle in `which` (all by default), the lowest-numbered triangle that it crosses, or -1.

    A triangle without area gives its own number. Triangles that share points cross when they meet beyond
    them: fold-overs count. Signs are exact for coordinates that float32 can hold.

    Parameters
    ----------
    which : (k,) int32
        Numbers of the triangles to try, each against the whole mesh.
    tree : Tree
        The mesh's search tree, if there is one already.

    Returns
    -------
    partner : (k,) int32
    """
    chosen = np.arange(len(mesh.triangles)) if which is None else which
    partner = np.full(len(chosen), -1, dtype=np.int32)
    if not len(chosen):
        return partner
    if tree is None:
        tree = build_tree(mesh)
    places = np.empty(len(tree.rows), dtype=np.int32)
    places[tree.rows] = np.arange(len(places), dtype=np.int32)
    crossing_partners(
        np.ascontiguousarray(chosen, dtype=np.int32), tree.corners, tree.rows, places, tree.boxes,
        tree.level_base, tree.depth, tree.centre_mm, np.ascontiguousarray(mesh.triangles, dtype=np.int32), partner,
    )  # fmt: skip
    return partner
