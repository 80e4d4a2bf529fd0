"""Whether the proof of a run notices what is wrong with its files."""

import zipfile
from dataclasses import replace

import numpy as np
import pytest
import trimesh

from firstcast.errors import FileError, InputError
from firstcast.printing.run import Placement, Run
from firstcast.proof.expected_run import ExpectedRun
from firstcast.vocabulary import Verdict
from layer_bodies import ball, figure, standing
from written_runs import blanked, faults, masters, pieces_of, proved, with_images, written


def test_sound_files_are_sound(sound):
    rows = proved(*sound)
    # the ball begins with a few pixels on the platform; the trunk's tab stands on props
    assert faults(rows) <= {"bare starts"}
    assert rows["area of every layer"].measured < 1.0
    assert rows["area of single regions"].measured < 1.0
    assert rows["props at every tip"].result.startswith("0 of 12 tips")


def test_a_hand_that_is_missing_in_some_layers(copy):
    folder, expected = copy
    # the hand of the first copy, about x = 7.3 mm, y = 2.5 mm and z = 8 mm
    with_images(folder, blanked(78, 83, (30, 70), (130, 160)))
    found = faults(proved(folder, expected))
    assert {"area of every layer", "every pixel of every layer"} <= found


def test_a_missing_prop(copy):
    folder, expected = copy
    # the post under the hand stands about x = 7.3 mm
    with_images(folder, blanked(0, 76, (35, 65), (135, 155)))
    found = faults(proved(folder, expected))
    assert {"props at every tip", "every pixel of every layer", "area of every layer"} <= found


def test_an_image_that_is_not_the_one_sealed(copy):
    folder, expected = copy
    with_images(folder, lambda layer, image: image if layer == 3 else None, seal=False)
    rows = proved(folder, expected)
    assert "digests of the images" in faults(rows)
    assert rows["digests of the images"].measured == 1


def test_a_missing_layer_and_a_stray_file(copy):
    folder, expected = copy
    with zipfile.ZipFile(folder / "run.zip", "a") as package:
        package.writestr("layers/extra.png", b"")
    assert "an image per layer" in faults(proved(folder, expected))
    assert "an image per layer" in faults(proved(folder, expected, layer_count=expected.layer_count + 1))


def test_a_hollow_that_the_film_closes(tmp_path):
    bell = ball(1.6, (0, 0, 1.6)) - ball(1.2, (0, 0, 1.6))
    known = {"b": standing(bell)}
    expected = written(tmp_path, Run("r", (Placement("b", 5.0, 5.0),)), known)
    rows = proved(tmp_path, expected)
    assert rows["hollows that are sealed"].verdict is Verdict.WATCH
    assert rows["hollows that are sealed"].measured == pytest.approx(4 / 3 * np.pi * 1.2**3, rel=0.03)
    assert rows["hollows that suck"].verdict is Verdict.SOUND
    assert proved(tmp_path, expected, cup_mm3=10.0)["hollows that are sealed"].verdict is Verdict.SOUND


def test_a_copy_that_stands_elsewhere(copy):
    folder, expected = copy
    moved = (replace(expected.standing[0], x_mm=3.05), *expected.standing[1:])
    found = faults(proved(folder, expected, standing=moved))
    assert {"copies where they should stand", "manifest: pixels, layers and pieces"} <= found


def test_an_stl_that_lacks_a_body_or_is_moved(copy):
    folder, expected = copy
    mesh = trimesh.load_mesh(folder / "run.stl")
    mesh.apply_translation((0.0, 0.001, 0.0))
    mesh.export(folder / "run.stl")
    assert "places of STL and 3MF" in faults(proved(folder, expected))
    bodies = mesh.split()
    trimesh.util.concatenate(bodies[:-1]).export(folder / "run.stl")
    assert {"triangles of STL and 3MF", "bodies of STL and 3MF"} <= faults(proved(folder, expected))


def test_files_that_are_none(copy):
    folder, expected = copy
    (folder / "run.zip").write_bytes(b"no zip")
    with pytest.raises(FileError, match="not a zip of layers"):
        proved(folder, expected)


def test_a_picture_that_is_damaged(copy):
    folder, expected = copy
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    files["layers/00004.png"] = files["layers/00004.png"][:-30]
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, data)
    with pytest.raises(FileError, match=r"layers/00004\.png is no sound PNG"):
        proved(folder, expected)


def test_nonsense_is_refused():
    with pytest.raises(InputError, match="0 layers"):
        ExpectedRun("r", (10, 10), (0.05, 0.05), 0.1, 0, ())
    with pytest.raises(InputError, match="tips of 'a'"):
        ExpectedRun("r", (10, 10), (0.05, 0.05), 0.1, 5, (), (("a", np.zeros((3, 2))),))


def test_a_piece_that_is_not_its_master_is_noticed(sound):
    folder, expected = sound
    known = masters()
    assert not faults(proved(folder, expected, pieces=pieces_of(known)))
    mirrored = [(name, points * (-1.0, 1.0, 1.0), triangles) for name, points, triangles in pieces_of(known)]
    assert "pieces are their masters" in faults(proved(folder, expected, pieces=tuple(mirrored)))
    larger = [(name, 1.1 * points, triangles) for name, points, triangles in pieces_of(known)]
    assert "pieces are their masters" in faults(proved(folder, expected, pieces=tuple(larger)))


def test_a_tip_that_no_prop_comes_to_is_noticed(tmp_path):
    piece, props, tips = figure()
    away = standing(piece, props, tips)
    expected = written(tmp_path, Run("first", (Placement("a", 4.0, 4.0),)), {"a": away})
    assert not faults(proved(tmp_path, expected))
    beyond = np.add(tips, (0.0, 0.0, 2.0))
    assert "props come to every tip" in faults(proved(tmp_path, expected, tips=(("a", beyond),)))


def test_a_copy_that_reaches_over_the_edge_is_noticed(copy):
    folder, expected = copy
    beyond = (replace(expected.standing[0], x_mm=1.0), *expected.standing[1:])
    assert "all of it within the images" in faults(proved(folder, expected, standing=beyond))
