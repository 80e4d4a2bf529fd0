"""Public meshes through intake: what is known of them beforehand comes out."""

import numpy as np
import pytest

from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes
from firstcast.stations.intake import Intaken, Settings, intake
from intake_checks import CAPPED, CLOSED, SHEET, check_part, counts, kinds, taken
from part_shapes import joined, mesh_of, public_mesh


def public(name: str, height_mm: float = 54.0) -> list[Intaken]:
    meshes = read_meshes(public_mesh(name))
    factor = height_mm / max(np.ptp(read.mesh.points, axis=0).max() for read in meshes)
    results = [
        intake(name=read.name, mesh=read.mesh, matrix_mm=factor * np.eye(3), settings=Settings())
        for read in meshes
    ]
    for result in results:
        check_part(result)
    return results


# Counts below are those of the collection's credits: components, boundary edges, closedness after merging.


@pytest.mark.parametrize(("name", "triangles"), [("spot.obj", 23062), ("self_intersectA.obj", 17160)])
def test_public_closed_bodies(name, triangles):
    (result,) = public(name)
    assert kinds(result) == [CLOSED]
    assert result.summary.triangle_count == triangles
    assert result.findings == ()


def test_public_body_with_a_small_hole():
    (result,) = public("human_neutral.obj")  # 3 components, 32 boundary edges
    assert sorted(kinds(result)) == sorted([CLOSED, CLOSED, CAPPED])
    assert result.summary.triangle_count == 20908 + 32 - 2
    assert counts(result) == {"capped-holes": 1}


def test_public_clothed_figure_in_many_parts():
    results = {result.part.name: result for result in public("mh_man_casual.glb")}
    assert kinds(results.pop("male_generic")) == [CLOSED]
    assert [len(r.part.shells) for r in results.values()] == [2, 4, 1]  # 8 components in all
    assert all(r.summary.is_sheet for r in results.values())


def test_public_figure_with_coinciding_props():
    results = public("kaykit_knight.glb")
    assert len(results) == 15
    assert sum(len(result.part.shells) for result in results) == 39
    # Welded into one, the props coincide (606 crowded edges in the credits): still nothing is torn.
    whole = joined(*(read.mesh for read in read_meshes(public_mesh("kaykit_knight.glb"))))
    together = taken(whole, factor_mm=20.0)
    check_part(together)
    assert sum(kind is not SHEET for result in results for kind in kinds(result)) == 13
    assert sum(kind is SHEET for kind in kinds(together)) == 26
    assert counts(together)["crowded-edges"] > 0


def test_public_soup_is_a_hundred_sheets():
    (result,) = public("soup.stl")
    assert kinds(result) == [SHEET] * 100


def test_mesh_of_keeps_the_library_shape():
    import trimesh

    assert measure_solid(mesh_of(trimesh.creation.box((1, 2, 3)))).volume == pytest.approx(6.0)
