"""Gaps of joints: sums by hand."""

import numpy as np
import pytest

from firstcast.process.chain import null_chain
from firstcast.process.joints import (
    Faces,
    faces_of,
    gaps_for,
    normals_in_print,
    size_errors,
    size_spread_of,
    stretch_along,
)
from firstcast.process.shrink import SizeStep, even_step
from firstcast.ranges import Range

PEG = Faces(np.array([[0.01, 0.02], [0.03, 0.05], [0.06, 0.15]]))
SOCKET = Faces(np.array([[0.02, 0.02], [0.03, 0.03], [0.05, 0.06]]))


def gaps(**given):
    wanted = {"least_mm": 0.02, "most_mm": 1.0, "given_mm": None, "end_mm": 0.1} | given
    return gaps_for(PEG, SOCKET, np.array([1.0, 2.0]), 0.004, **wanted)


def test_what_is_not_sure_is_added_up():
    found = gaps()
    # side: 0.06 - 0.03, and 0.05 - 0.03, and 0.4 % of 1 mm, and the least play
    np.testing.assert_allclose(found.sides_mm, [0.03 + 0.02 + 0.004 + 0.02])
    assert found.end_mm == pytest.approx(0.10 + 0.03 + 0.008 + 0.1)


def test_a_cap_and_a_given_gap():
    capped = gaps(most_mm=0.05)
    np.testing.assert_allclose(capped.sides_mm, [0.05])
    np.testing.assert_allclose(capped.wanted_mm, [0.074])
    np.testing.assert_allclose(gaps(given_mm=0.3).sides_mm, [0.3])


def test_a_primer_lies_on_every_face():
    from dataclasses import replace

    from firstcast.process.films import Film

    chains = [replace(null_chain((0.05, 0.05), 0.05), primer=Film(t, t)) for t in (0.01, 0.02, 0.03)]
    faces = faces_of([[0.0], [0.1], [0.2]], chains, [0.5])
    np.testing.assert_allclose(faces.moves_mm[:, 0], [0.005, 0.06, 0.115])
    np.testing.assert_allclose(faces.left_mm[:, 0], [-0.055, 0.0, 0.055])


def test_planes_under_a_map():
    matrix = np.diag([1.02, 1.0, 1.04])
    normals = np.array([[1.0, 0, 0], [0, 0, 1.0], [np.sqrt(0.5), 0, np.sqrt(0.5)]])
    stretch = stretch_along(matrix, normals)
    # a plane across x that moves by 1 in the master moves by 1 / 1.02 in the figure
    np.testing.assert_allclose(stretch[:2], [1 / 1.02, 1 / 1.04])
    # two planes x + z = c and c + d: their distance in the master, by points
    d = 0.3
    mapped = normals_in_print(matrix, np.eye(3), normals)[2]
    apart = (matrix @ (d * normals[2])) @ mapped
    assert apart * stretch[2] == pytest.approx(d)
    turn = np.array([[1.0, 0, 0], [0, 0, 1.0], [0, -1.0, 0]])
    np.testing.assert_allclose(normals_in_print(np.eye(3), turn, [[0, 0, 1.0]]), [[0, 1.0, 0]])


def test_sizes_are_right_in_the_likely_case_only():
    steps = (
        SizeStep("print", "print", (Range(0.004, 0.005, 0.006),) * 2 + (Range(0.002, 0.003, 0.004),)),
        even_step("cast", "cast", Range(0.0, 0.003, 0.01), "caster"),
    )
    low, likely, high = size_errors(steps)
    np.testing.assert_allclose(likely, np.eye(3), atol=1e-12)
    # least shrinkage everywhere gives the largest cast
    assert low[0, 0] == pytest.approx(0.996 * 1.0 / (0.995 * 0.997))
    assert high[2, 2] == pytest.approx(0.996 * 0.99 / (0.997 * 0.997))
    assert size_spread_of((low, likely, high), (low, likely, high)) == pytest.approx(
        low[0, 0] - high[0, 0], abs=1e-4
    )
