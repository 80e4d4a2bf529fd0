import lib3mf
import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError
from firstcast.fields.coverage import Layers
from firstcast.io.run_files import props_name, write_run_3mf, write_run_stl
from firstcast.printing.run import Placement, Run
from layer_bodies import figure, standing, tube

RUN = Run("first", (Placement("a", 3.0, 2.5), Placement("b", 9.0, 3.0), Placement("a", 5.0, 7.0, 90.0)))


def masters():
    piece, props, tips = figure()
    return {
        "a": standing(piece, props, tips),
        "b": standing(tube(2.0, 1.0)),
        "unused": standing(tube(1.0, 1.0)),
    }


def model_of(path):
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(path))
    assert reader.GetWarningCount() == 0
    return model


def test_stl_and_3mf_show_the_same_bodies_to_general_readers(tmp_path):
    known = masters()
    write_run_stl(tmp_path / "run.stl", RUN, known)
    write_run_3mf(tmp_path / "run.3mf", RUN, known)
    stl = trimesh.load_mesh(tmp_path / "run.stl")
    scene = trimesh.load_scene(tmp_path / "run.3mf")
    assert len(stl.faces) == sum(
        len(scene.geometry[scene.graph[n][1]].faces) for n in scene.graph.nodes_geometry
    )
    # float32 within 16 mm steps by 1e-6 mm
    assert stl.bounds == pytest.approx(scene.bounds, abs=2e-6)
    assert stl.volume == pytest.approx(scene.to_mesh().volume, rel=1e-5)


def test_each_copy_stands_where_the_run_says(tmp_path):
    known = masters()
    write_run_3mf(tmp_path / "run.3mf", RUN, known)
    model = model_of(tmp_path / "run.3mf")
    found, items = [], model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        table = np.array([[item.GetObjectTransform().Fields[i][j] for j in range(3)] for i in range(4)])
        found.append((item.GetObjectResource().GetName(), table))
    assert [name for name, _ in found] == ["a", props_name("a"), "b", "a", props_name("a")]
    # a quarter turn counter-clockwise takes x to y and y to -x
    assert np.array([1.0, 2.0, 3.0, 1.0]) @ found[3][1] == pytest.approx([5.0 - 2.0, 7.0 + 1.0, 3.0])
    assert np.array([1.0, 2.0, 3.0, 1.0]) @ found[2][1] == pytest.approx([10.0, 5.0, 3.0])


def test_each_master_is_written_once_and_exactly(tmp_path):
    known = masters()
    write_run_3mf(tmp_path / "run.3mf", RUN, known, {"layer": "0.05 mm"})
    model = model_of(tmp_path / "run.3mf")
    meshes, walk = {}, model.GetMeshObjects()
    while walk.MoveNext():
        mesh = walk.GetCurrentMeshObject()
        meshes[mesh.GetName()] = np.array([list(v.Coordinates) for v in mesh.GetVertices()], np.float32)
    assert list(meshes) == ["a", props_name("a"), "b"]
    assert np.array_equal(meshes["a"], known["a"].piece.points)


def test_slices_are_the_sections_of_the_layers(tmp_path):
    known, layers = masters(), Layers(0.0, 0.5, 30)
    write_run_3mf(tmp_path / "run.3mf", RUN, known, slices=layers)
    stacks, walk = [], model_of(tmp_path / "run.3mf").GetSliceStacks()
    while walk.MoveNext():
        stacks.append(walk.GetCurrentSliceStack())
    assert len(stacks) == 3
    cylinder = stacks[2]
    assert cylinder.GetSliceCount() == 4
    for k in range(4):
        piece = cylinder.GetSlice(k)
        assert piece.GetZTop() == pytest.approx(0.5 * (k + 1))
        assert piece.GetPolygonCount() == 1
        corners = np.array([list(v.Coordinates) for v in piece.GetVertices()])
        loop = np.array(piece.GetPolygonIndices(0))
        assert loop[0] == loop[-1]
        x, y = corners[loop].T
        area = 0.5 * (x[:-1] * y[1:] - x[1:] * y[:-1]).sum()
        # counter-clockwise, and the area of 64 corners inscribed in r = 1 (CHECKS: .998394)
        assert area == pytest.approx(np.pi * 0.998394, rel=1e-5)


def test_the_same_run_gives_the_same_bytes(tmp_path):
    for n in (1, 2):
        write_run_stl(tmp_path / f"{n}.stl", RUN, masters())
        write_run_3mf(tmp_path / f"{n}.3mf", RUN, masters(), slices=Layers(0.0, 0.5, 30))
    assert (tmp_path / "1.stl").read_bytes() == (tmp_path / "2.stl").read_bytes()
    assert (tmp_path / "1.3mf").read_bytes() == (tmp_path / "2.3mf").read_bytes()


@pytest.mark.parametrize("write", [write_run_stl, write_run_3mf])
def test_an_empty_run_and_an_unknown_master_are_refused(tmp_path, write):
    with pytest.raises(InputError, match="nothing stands"):
        write(tmp_path / "x", Run("r", ()), masters())
    with pytest.raises(InputError, match="no master 'c'"):
        write(tmp_path / "x", Run("r", (Placement("c", 1, 1),)), masters())
