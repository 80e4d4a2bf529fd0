"""Whether the proof of a run notices what is wrong with its files."""

import hashlib
import io
import json
import shutil
import zipfile
from dataclasses import replace

import numpy as np
import pytest
import trimesh
from manifold3d import Manifold
from PIL import Image
from scipy.ndimage import gaussian_filter

from firstcast.errors import FileError, InputError
from firstcast.io.layer_images import write_layers
from firstcast.io.run_files import write_run_3mf, write_run_stl
from firstcast.printing.layer_measures import layer_table, measure_run
from firstcast.printing.layer_plan import Screen, plan_layers
from firstcast.printing.run import Placement, Run
from firstcast.proof.check_run import prove_run
from firstcast.proof.expected_run import ExpectedRun, Standing
from firstcast.vocabulary import Verdict
from layer_bodies import ball, figure, standing

SCREEN = Screen(260, 200, 0.05, 0.05)
STRESS_KPA = (5.0, 10.0, 20.0)
RUN = Run(
    "first", (Placement("a", 3.0, 2.5), Placement("a", 5.013, 7.0, 180.0), Placement("b", 10.5, 4.0, 90.0))
)


def masters():
    piece, props, tips = figure()
    return {"a": standing(piece, props, tips), "b": standing(ball(1.5, (0, 0, 1.5)))}


def facts_of(plan):
    """What the manifest says of a run and of its layers."""
    found = measure_run(plan)
    peel = np.array(STRESS_KPA)[:, None] * 1e-3 * found.area_mm2
    table = layer_table(
        found.area_mm2, found.regions, found.largest_mm2, found.closed_mm2, peel, plan.layers.layer_mm
    )
    return {"resin_mm3": round(float(found.area_mm2.sum()) * plan.layers.layer_mm, 3)}, table


def written(folder, run=RUN, known=None, screen=SCREEN, layer_mm=0.1, *, slices=False):
    known = known or masters()
    plan = plan_layers(run, known, screen, layer_mm=layer_mm)
    facts, table = facts_of(plan)
    write_layers(folder / "run.zip", plan, facts, table)
    write_run_stl(folder / "run.stl", run, known)
    write_run_3mf(folder / "run.3mf", run, known, slices=plan.layers if slices else None)
    return ExpectedRun(
        run.name,
        (screen.nx, screen.ny),
        (screen.pixel_x_mm, screen.pixel_y_mm),
        layer_mm,
        plan.layers.count,
        tuple(Standing(p.master, p.x_mm, p.y_mm, p.turn_deg) for p in run.placements),
        tuple((name, known[name].tips.places_mm) for name in known),
        mirrored=screen.mirrored,
        stress_kpa=STRESS_KPA,
        slices=slices,
    )


def proved(folder, expected, **changes):
    rows = prove_run(folder / "run.zip", folder / "run.stl", folder / "run.3mf", replace(expected, **changes))
    return {row.check: row for row in rows}


def faults(rows):
    return {check for check, row in rows.items() if row.verdict is not Verdict.SOUND}


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    return folder, written(folder)


@pytest.fixture
def copy(sound, tmp_path):
    for file in sound[0].iterdir():
        shutil.copy(file, tmp_path)
    return tmp_path, sound[1]


def with_images(folder, change, *, seal=True):
    """Draw images anew: change(layer, (h, w) uint8) gives the new one or None; the manifest seals them."""
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    manifest = json.loads(files["manifest.json"])
    for row in manifest["layers"]:
        with Image.open(io.BytesIO(files[row["image"]])) as picture:
            image = change(row["layer"], np.array(picture))
        if image is not None:
            held = io.BytesIO()
            Image.fromarray(image).save(held, "PNG")
            files[row["image"]] = held.getvalue()
            if seal:
                row["blake2b"] = hashlib.blake2b(held.getvalue(), digest_size=16).hexdigest()
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, data)


def blanked(low, high, rows, columns):
    def change(layer, image):
        if low <= layer < high:
            image[rows[0] : rows[1], columns[0] : columns[1]] = 0
            return image
        return None

    return change


def test_sound_files_are_sound(sound):
    rows = proved(*sound)
    # the ball begins with a few pixels on the platform; the trunk's tab stands on props
    assert faults(rows) <= {"bare starts"}
    assert rows["area of every layer"].measured < 1.0
    assert rows["area of single regions"].measured < 1.0
    assert rows["props at every tip"].result.startswith("0 of 12 tips")


def test_a_mirrored_screen_is_read_the_right_way_round(tmp_path):
    expected = written(tmp_path, screen=SCREEN._replace(mirrored=True))
    assert faults(proved(tmp_path, expected)) <= {"bare starts"}
    assert "manifest: pixels, layers and pieces" in faults(proved(tmp_path, expected, mirrored=False))


def test_pixels_that_are_not_square_are_proved_alike(tmp_path):
    screen = Screen(260, 160, 0.05, 0.0625)
    expected = written(tmp_path, screen=screen)
    assert faults(proved(tmp_path, expected)) <= {"bare starts"}


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


def test_a_fleck_of_light_in_the_air(copy):
    folder, expected = copy

    def change(layer, image):
        if layer == 60:
            image[180:186, 200:206] = 255
            return image
        return None

    with_images(folder, change)
    rows = proved(folder, expected)
    assert {"area of every layer", "bare starts that nothing holds"} <= faults(rows)
    assert "36 pixels in layer 60 at (10." in rows["bare starts that nothing holds"].result


def test_images_a_little_too_bright(copy):
    folder, expected = copy
    with_images(
        folder, lambda layer, image: np.minimum(image.astype(int) + 8 * (image > 0), 255).astype(np.uint8)
    )
    assert {"area of every layer", "area of single regions"} <= faults(proved(folder, expected))


def test_layers_in_another_order(copy):
    folder, expected = copy
    kept = {}

    def keep(layer, image):
        kept[layer] = image

    with_images(folder, keep)
    with_images(folder, lambda layer, image: kept[layer - 4] if layer > 40 else None)
    assert "area of every layer" in faults(proved(folder, expected))


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


def rolled(shift):
    """Images moved by whole pixels: (columns, rows)."""
    return lambda layer, image: np.roll(image, shift, axis=(1, 0))


@pytest.mark.parametrize("shift", [(1, 0), (0, 1), (-1, 1)])
def test_images_a_pixel_aside_are_noticed(copy, shift):
    folder, expected = copy
    with_images(folder, rolled(shift))
    assert "every pixel of every layer" in faults(proved(folder, expected))


def test_a_comb_of_layers_is_noticed(copy):
    folder, expected = copy
    with_images(folder, lambda layer, image: np.roll(image, 1 if layer % 2 else -1, axis=1))
    assert "every pixel of every layer" in faults(proved(folder, expected))


def pieces_of(known):
    return tuple(
        (name, np.asarray(each.piece.points, np.float64), each.piece.triangles)
        for name, each in known.items()
    )


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


def test_layers_by_other_numbers_or_names_are_noticed(copy):
    folder, expected = copy
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    manifest = json.loads(files["manifest.json"])
    manifest["layers"][3]["layer"], manifest["layers"][4]["layer"] = 4, 3
    manifest["pieces"][0].pop("x_mm")
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, json.dumps(manifest) if name == "manifest.json" else data)
    row = proved(folder, expected)["manifest: pixels, layers and pieces"]
    assert row.verdict is Verdict.STOP
    assert "layers" in row.result
    assert "pieces" in row.result


def test_a_hole_that_is_made_up_for_elsewhere_is_noticed(copy):
    folder, expected = copy

    def change(layer, image):
        if layer != 41:
            return None
        # four pixels out of the trunk and four beside it, about one middle, in a layer that no polygon is cut for
        image[48:52, 59] = 0
        image[48:52, 95] = 255
        return image

    with_images(folder, change)
    rows = proved(folder, expected)
    assert "every pixel of every layer" in faults(rows)
    assert "area of every layer" not in faults(rows)
    assert (
        "8 otherwise than the meshes cover them, the first in layer 41"
        in rows["every pixel of every layer"].result
    )


def test_images_that_are_blurred_are_noticed(copy):
    folder, expected = copy
    with_images(
        folder, lambda layer, image: np.round(gaussian_filter(image.astype(float), 0.4)).astype(np.uint8)
    )
    assert "every pixel of every layer" in faults(proved(folder, expected))


def test_one_level_too_many_in_one_pixel_is_noticed(copy):
    folder, expected = copy

    def change(layer, image):
        if layer == 7:
            image[3, 4] = 1
            return image
        return None

    with_images(folder, change)
    row = proved(folder, expected)["every pixel of every layer"]
    assert row.verdict is Verdict.STOP
    assert "layer 7 at (0.225, 0.175) mm, 1 of 255 levels where the meshes ask for 0.00" in row.result


@pytest.mark.parametrize("turn", [17.0, 263.5])
def test_copies_in_any_turn_are_proved_to_the_pixel(tmp_path, turn):
    run = Run("first", (Placement("a", 6.0, 5.0, turn),))
    expected = written(tmp_path, run)
    rows = proved(tmp_path, expected)
    assert not faults(rows) - {"bare starts"}
    # rounding to levels leaves half of one; some pixel of many thousand comes near it
    assert 0.4 < rows["every pixel of every layer"].measured <= 0.51


def test_a_flat_face_on_the_plane_of_a_section_counts_either_way(tmp_path):
    plate = Manifold.cube((3.0, 3.0, 1.05)).translate((-1.5, -1.5, 0.0))
    expected = written(tmp_path, Run("first", (Placement("p", 5.0, 5.0),)), {"p": standing(plate)})
    assert not faults(proved(tmp_path, expected))
    kept = {}
    with_images(tmp_path, kept.__setitem__)
    other = np.zeros_like(kept[9]) if kept[10].any() else kept[9]
    # the plate ends on the middle of layer 10: whether it is lit there hangs on the last digit of its height
    with_images(tmp_path, lambda layer, image: other if layer == 10 else None)
    assert "every pixel of every layer" not in faults(proved(tmp_path, expected))
    with_images(tmp_path, lambda layer, image: 0 * image if layer == 9 else None)
    assert "every pixel of every layer" in faults(proved(tmp_path, expected))


def test_copies_that_touch_are_noticed(tmp_path):
    block = Manifold.cube((2.013, 2.0, 1.0)).translate((-1.0065, -1.0, 0.0))
    places = [Placement("p", 3.0 + 2.02 * n, 5.0) for n in range(2)]
    expected = written(tmp_path, Run("first", tuple(places)), {"p": standing(block)})
    # they share a column of pixels, and cure as one
    row = proved(tmp_path, expected)["the manifest's table is what the images come to"]
    assert "regions in 10 layers, the first 0" in row.result


def with_manifest(folder, change):
    path = folder / "run.zip"
    with zipfile.ZipFile(path) as package:
        files = {name: package.read(name) for name in package.namelist()}
    manifest = json.loads(files["manifest.json"])
    change(manifest)
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(path, "w") as package:
        for name, data in files.items():
            package.writestr(name, data)


WRONG = {
    "top_mm": lambda value: value + 0.1,
    "area_mm2": lambda value: value + 2e-4,
    "regions": lambda value: value + 1,
    "largest_mm2": lambda value: value - 0.0025,
    "closed_mm2": lambda value: value + 0.0025,
    "resin_mm3": lambda value: value + 2e-4,
    "peel_n": lambda value: [*value[:2], value[2] + 0.002],
}
"""A little more or less than each of them is: by a pixel, or a step of what it is rounded to."""


def test_what_the_manifest_says_of_each_layer_is_held_against_its_image(copy):
    folder, expected = copy

    def wrong(manifest):
        for number, (key, change) in enumerate(WRONG.items()):
            row = manifest["layers"][20 + number]
            row[key] = change(row[key])

    with_manifest(folder, wrong)
    rows = proved(folder, expected)
    assert faults(rows) - {"bare starts"} == {"the manifest's table is what the images come to"}
    row = rows["the manifest's table is what the images come to"]
    assert row.measured == len(WRONG)
    for number, key in enumerate(WRONG):
        assert f"{key} in 1 layer, the first {20 + number}" in row.result


def test_a_manifest_that_says_nothing_or_nonsense_of_a_layer(copy):
    folder, expected = copy

    def wrong(manifest):
        del manifest["layers"][3]["regions"]
        manifest["layers"][4] |= {"area_mm2": "much", "peel_n": [1.0, 2.0], "closed_mm2": None}

    with_manifest(folder, wrong)
    row = proved(folder, expected)["the manifest's table is what the images come to"]
    assert row.measured == 4
    assert "regions in 1 layer, the first 3" in row.result


def test_the_sum_of_resin_is_held_against_the_images(copy):
    folder, expected = copy
    with_manifest(folder, lambda manifest: manifest.update(resin_mm3=manifest["resin_mm3"] + 0.01))
    row = proved(folder, expected)["the manifest's table is what the images come to"]
    assert row.verdict is Verdict.STOP
    assert "resin of" in row.result


def test_a_copy_that_reaches_over_the_edge_is_noticed(copy):
    folder, expected = copy
    beyond = (replace(expected.standing[0], x_mm=1.0), *expected.standing[1:])
    assert "all of it within the images" in faults(proved(folder, expected, standing=beyond))
