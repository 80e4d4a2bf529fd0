"""Kernels that make no arrays don't count who uses those that pass through them."""

import numba
import numpy as np
import pytest
import trimesh
from numba.core.errors import NumbaError

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.starred import starred
from firstcast.kernels import narrow


def compiled_anew(function, **changes):
    """A kernel compiled in this process, as it is declared but for some options: what is kept on disk has no text to look at."""
    options = {name: value for name, value in function.targetoptions.items() if name != "nopython"}
    return numba.njit(**{**options, **changes})(function.py_func)


@pytest.fixture(scope="module")
def given():
    """A ball's triangles round each vertex, and for each vertex a triangle some way off."""
    ball = trimesh.creation.icosphere(subdivisions=2)
    mesh = Mesh(np.asarray(ball.vertices), np.asarray(ball.faces, np.int32))
    rows = np.arange(len(mesh.points))
    return rows, ((7 * rows) % len(mesh.triangles)).astype(np.int32), tuple(starred(mesh)), 0.7


def counts(function, given) -> tuple[int, np.ndarray]:
    folds = np.zeros(len(given[0]), np.bool_)
    function(*given, folds)
    (text,) = function.inspect_llvm().values()
    return text.count("@NRT_incref("), folds


def test_nothing_is_counted_and_the_outcome_is_the_same(given):
    none, folds = counts(compiled_anew(narrow.find_folds), given)
    some, same = counts(compiled_anew(narrow.find_folds, _nrt=True), given)
    assert none == 0
    assert some > 0
    assert 0 < folds.sum() < len(folds)
    np.testing.assert_array_equal(folds, same)


def test_such_a_kernel_cannot_make_an_array():
    options = {"_nrt": narrow.find_folds.targetoptions["_nrt"]}
    made = numba.njit(**options)(lambda: np.empty(3)[0])
    with pytest.raises(NumbaError):
        made()
