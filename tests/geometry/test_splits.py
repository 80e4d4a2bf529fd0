"""Proposed splits: at the stout neck of a dumbbell, in words that the job file takes."""

import tomllib

import numpy as np
import pytest

from firstcast.geometry.mesh import Mesh
from firstcast.geometry.pieces import Side
from firstcast.geometry.solids import box, cylinder, from_manifold, union
from firstcast.geometry.splits import best_split, split_words
from firstcast.io._job_models import PieceTable
from firstcast.io._job_names import are_two_sides


def mesh_of(solid) -> Mesh:
    mesh = from_manifold(solid)
    return Mesh(mesh.points.astype(np.float32), mesh.triangles)


DUMBBELL = mesh_of(
    union([box((10, 10, 6), at_mm=(0, 0, 3)), cylinder(10.0, 2.0), box((10, 10, 6), at_mm=(0, 0, 13))])
)


def test_a_dumbbell_is_split_at_its_neck():
    split = best_split(DUMBBELL, (0.5, 0, 8.3), [(0, 0, 1)], within_mm=5.0, least_radius_mm=1.5)
    assert split is not None
    assert 6.0 < split.side.place_mm[2] < 10.0
    assert split.radius_mm == pytest.approx(2.0, abs=0.03)
    assert split.seam_mm == pytest.approx(4.0 * np.pi, rel=0.01)
    np.testing.assert_allclose(split.side.place_mm[:2], (0, 0), atol=0.05)


def test_what_gives_no_room_or_cuts_twice_is_not_proposed():
    assert best_split(DUMBBELL, (0, 0, 8), [(0, 0, 1)], within_mm=1.5, least_radius_mm=2.5) is None
    # across x, beside the neck, the plane would cut both boxes
    assert best_split(DUMBBELL, (4, 0, 8), [(1, 0, 0)], within_mm=0.5, least_radius_mm=1.0) is None


def test_of_several_ways_the_one_with_the_shortest_seam_for_its_room():
    split = best_split(
        DUMBBELL,
        (0, 0, 8),
        [(1, 0, 0), (0, 1, 0), (0.3, 0, 1), (0, 0, 1)],
        within_mm=2.0,
        least_radius_mm=1.0,
    )
    assert split is not None
    assert split.side.toward == (0.0, 0.0, 1.0)


def test_the_words_are_two_sides_of_one_cut():
    split = best_split(DUMBBELL, (0, 0, 8), [(0.3, 0.1, 1)], within_mm=1.0, least_radius_mm=1.0)
    assert split is not None
    words = tomllib.loads(split_words("post", ["post", "knob_*"], split))
    lower, upper = (PieceTable.model_validate(entry).side() for entry in words["piece"])
    assert are_two_sides(lower, upper)
    assert isinstance(upper, Side)
    assert upper.toward[2] > 0
    assert words["joint"] == [{"name": "post", "peg": "post lower", "socket": "post upper"}]
    assert words["piece"][0]["parts"] == ["post", "knob_*"]
