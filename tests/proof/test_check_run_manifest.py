"""Whether the proof of a run notices a manifest that is not what the images come to."""

import json
import zipfile

from manifold3d import Manifold

from firstcast.printing.run import Placement, Run
from firstcast.vocabulary import Verdict
from layer_bodies import standing
from written_runs import faults, proved, with_images, with_manifest, written


def test_layers_in_another_order(copy):
    folder, expected = copy
    kept = {}

    def keep(layer, image):
        kept[layer] = image

    with_images(folder, keep)
    with_images(folder, lambda layer, image: kept[layer - 4] if layer > 40 else None)
    assert "area of every layer" in faults(proved(folder, expected))


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


def test_copies_that_touch_are_noticed(tmp_path):
    block = Manifold.cube((2.013, 2.0, 1.0)).translate((-1.0065, -1.0, 0.0))
    places = [Placement("p", 3.0 + 2.02 * n, 5.0) for n in range(2)]
    expected = written(tmp_path, Run("first", tuple(places)), {"p": standing(block)})
    # they share a column of pixels, and cure as one
    row = proved(tmp_path, expected)["the manifest's table is what the images come to"]
    assert "regions in 10 layers, the first 0" in row.result


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
