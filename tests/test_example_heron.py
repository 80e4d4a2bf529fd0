"""The heron of the demo: its parts, their faults put in on purpose, and that the same call gives the same bytes."""

import sys
from pathlib import Path

import igl
import numpy as np
import pytest
import trimesh

FOLDER = Path(__file__).resolve().parent.parent / "examples" / "heron"
sys.path.insert(0, str(FOLDER))

from make_parts import FAULTS, make_parts  # noqa: E402  the folder must be on the path first

COARSE = 0.3


@pytest.fixture(scope="module")
def parts(tmp_path_factory):
    folder = tmp_path_factory.mktemp("heron")
    make_parts(folder, fineness=COARSE, threads=2)
    meshes = {}
    for path in sorted(folder.iterdir()):
        mesh = trimesh.load(path, process=False, force="mesh")
        mesh.merge_vertices(merge_tex=True, merge_norm=True)
        meshes[path.stem] = mesh
    return folder, meshes


def edge_counts(mesh):
    """How many triangles meet at each edge, and how often each is walked one way rather than the other."""
    ends = mesh.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    ways = np.where(ends[:, 0] < ends[:, 1], 1, -1)
    _, number = np.unique(np.sort(ends, axis=1), axis=0, return_inverse=True)
    return np.bincount(number.ravel()), np.bincount(number.ravel(), ways)


def inside(shell, places):
    """(n,) whether each place lies inside a closed shell."""
    winding = igl.winding_number(
        np.asarray(shell.vertices, float), np.asarray(shell.faces, np.int64), np.asarray(places, float)
    )
    return np.asarray(winding).ravel() > 0.5


def test_the_parts_and_their_forms(parts):
    folder, meshes = parts
    assert len(meshes) == 31
    assert {path.suffix for path in folder.iterdir()} == {".ply", ".stl", ".obj"}
    for piece in ("arm_", "lantern_", "punt_", "grip_"):
        assert sum(name.startswith(piece) for name in meshes) >= 2


def test_every_part_is_closed_but_the_sheet_and_the_holed_one(parts):
    _, meshes = parts
    open_edges = {name: int((edge_counts(mesh)[0] == 1).sum()) for name, mesh in meshes.items()}
    assert {name for name, count in open_edges.items() if count} == {"hem_veil", "head"}


def test_closed_parts_are_wound_one_way_and_outward_but_for_the_flipped_band(parts):
    _, meshes = parts
    for name, mesh in meshes.items():
        if name == "hem_veil":
            continue
        odd = int((edge_counts(mesh)[1] != 0).sum())
        if name == "pole":
            assert odd > 10
        elif name != "head":
            assert odd == 0, name
            assert mesh.volume > 0, name


def test_the_hole_is_small(parts):
    _, meshes = parts
    head = meshes["head"]
    ends = np.sort(head.faces[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    edges, count = np.unique(ends, axis=0, return_counts=True)
    rim = head.vertices[np.unique(edges[count == 1])]
    assert len(rim) >= 3
    total = meshes["pole"].bounds[1, 2] - meshes["base_marsh"].bounds[0, 2]
    assert np.ptp(rim, axis=0).max() < 0.08 * total


def test_the_sheet_is_one_surface_with_waves(parts):
    _, meshes = parts
    veil = meshes["hem_veil"]
    assert veil.body_count == 1
    assert veil.euler_number == 1
    normals = veil.face_normals
    assert np.linalg.norm((normals * veil.area_faces[:, None]).sum(axis=0)) < 0.9 * veil.area


def test_the_torso_holds_a_closed_ball(parts):
    _, meshes = parts
    shells = meshes["torso"].split(only_watertight=True)
    shell = max(shells, key=lambda s: s.volume)
    balls = [s for s in shells if s is not shell and abs(s.volume / (4 / 3 * np.pi * 0.6**3) - 1) < 0.02]
    assert len(balls) == 1
    assert (shell.bounds[0] < balls[0].bounds[0]).all()
    assert (shell.bounds[1] > balls[0].bounds[1]).all()
    assert inside(shell, balls[0].vertices[::40]).all()


def test_the_rope_passes_through_itself(parts):
    """Far places along the one rope come nearer than its thickness."""
    _, meshes = parts
    rope = max(meshes["belt_rope"].split(only_watertight=True), key=lambda s: len(s.faces))
    sides = 24
    rings = rope.vertices[: len(rope.vertices) // sides * sides].reshape(-1, sides, 3).mean(axis=1)
    gap = np.linalg.norm(rings[:, None] - rings[None], axis=2)
    k = np.arange(len(rings))
    far = np.abs(k[:, None] - k[None]) > 0.25 * len(rings)
    assert gap[far].min() < 0.3
    assert FAULTS.keys() <= meshes.keys()


def test_neighbours_overlap(parts):
    """Each part reaches into the boxes of others of its piece; hands enclose what they hold."""
    _, meshes = parts
    figure = {name: mesh for name, mesh in meshes.items() if name != "ruler"}
    for name, mesh in figure.items():
        others = [other.bounds for key, other in figure.items() if key != name]
        assert any((mesh.bounds[0] < b[1]).all() and (mesh.bounds[1] > b[0]).all() for b in others), name
    for inner, outer in (("pole", "grip_hand"), ("lantern_ring", "arm_hand"), ("arm_wing", "torso")):
        shell = max(meshes[outer].split(only_watertight=False), key=lambda s: len(s.faces))
        if outer == "torso":
            shell = max(meshes[outer].split(only_watertight=True), key=lambda s: s.volume)
        assert inside(shell, meshes[inner].vertices[::9]).any(), inner


def test_the_ruler_tells_the_height(parts):
    _, meshes = parts
    low = min(mesh.bounds[0, 2] for name, mesh in meshes.items() if name != "ruler")
    high = max(mesh.bounds[1, 2] for name, mesh in meshes.items() if name != "ruler")
    block = meshes["ruler"]
    assert np.ptp(block.bounds[:, 2]) == pytest.approx(0.5 * (high - low), rel=1e-5)
    assert block.bounds[0, 0] > max(mesh.bounds[1, 0] for name, mesh in meshes.items() if name != "ruler")


def test_the_same_call_writes_the_same_bytes(parts, tmp_path):
    folder, _ = parts
    names = "torso,tabard,basket,reeds,grip_hand"
    make_parts(tmp_path, fineness=COARSE, only=names, threads=1)
    written = sorted(tmp_path.iterdir())
    assert len(written) == 6  # basket_reeds too
    for path in written:
        assert path.read_bytes() == (folder / path.name).read_bytes(), path.name


@pytest.mark.slow
def test_full_size_is_between_one_and_two_million(tmp_path):
    made = make_parts(tmp_path, threads=2)
    assert 1_000_000 < sum(count for _, count, _ in made) < 2_000_000
