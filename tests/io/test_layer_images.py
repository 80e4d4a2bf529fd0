import hashlib
import io
import json
import zipfile

import numpy as np
import pytest
from PIL import Image

from firstcast.errors import InputError
from firstcast.io import layer_images
from firstcast.io.layer_images import write_layers
from firstcast.printing.layer_plan import Screen, plan_layers
from firstcast.printing.layering import map_layers
from firstcast.printing.run import Placement, Run
from layer_bodies import figure, standing

SCREEN = Screen(237, 200, 0.05, 0.05)


def plan(**changes):
    piece, props, tips = figure()
    run = Run("first", (Placement("a", 3.0, 2.5), Placement("a", 5.0, 7.0, 180.0)))
    return plan_layers(run, {"a": standing(piece, props, tips)}, SCREEN._replace(**changes), layer_mm=0.2)


def test_the_zip_holds_every_layer_as_general_readers_see_it(tmp_path):
    path, drawn = tmp_path / "run.zip", plan()
    manifest = write_layers(path, drawn, {"printer": "mono-50"})
    images = list(map_layers(drawn, lambda layer, canvas: canvas.image.copy()))
    with zipfile.ZipFile(path) as package:
        assert package.testzip() is None
        assert json.loads(package.read("manifest.json")) == manifest
        assert {info.compress_type for info in package.infolist()} == {zipfile.ZIP_STORED}
        names = [row["image"] for row in manifest["layers"]]
        assert package.namelist() == [*names, "manifest.json"]
        for row, image in zip(manifest["layers"], images, strict=True):
            data = package.read(row["image"])
            assert hashlib.blake2b(data, digest_size=16).hexdigest() == row["blake2b"]
            with Image.open(io.BytesIO(data)) as picture:
                assert picture.mode == "L"
                assert np.array_equal(np.asarray(picture), image)


def test_the_manifest_says_what_a_reader_must_know(tmp_path):
    drawn = plan(mirrored=True)
    table = [{"area_mm2": float(k)} for k in range(drawn.layers.count)]
    manifest = write_layers(tmp_path / "run.zip", drawn, {"printer": "mono-50"}, table)
    assert manifest["schema"] == 2
    assert manifest["printer"] == "mono-50"
    assert manifest["pixels"] == [237, 200]
    assert manifest["pixel_mm"] == [0.05, 0.05]
    assert manifest["platform_mm"] == [11.85, 10.0]
    assert manifest["layer_count"] == drawn.layers.count == len(manifest["layers"])
    assert manifest["height_mm"] == pytest.approx(0.2 * drawn.layers.count)
    assert (manifest["first_column"], manifest["first_row"], manifest["mirrored"]) == (
        "greatest x",
        "y = 0",
        True,
    )
    assert manifest["pieces"][1] == {"master": "a", "x_mm": 5.0, "y_mm": 7.0, "turn_deg": 180.0}
    assert manifest["layers"][3]["area_mm2"] == 3.0
    assert manifest["layers"][3]["top_mm"] == 0.8
    # exposure is the maker's to say
    assert not [key for key in manifest if "exposure" in key]


def test_the_same_run_gives_the_same_bytes(tmp_path):
    write_layers(tmp_path / "one.zip", plan(), {})
    write_layers(tmp_path / "two.zip", plan(), {})
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_a_failure_on_the_way_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "run.zip"
    path.write_bytes(b"old")
    real = layer_images.png_of

    def fails(canvas):
        if canvas.image.any():
            raise RuntimeError("power cut")
        return real(canvas)

    monkeypatch.setattr(layer_images, "png_of", fails)
    with pytest.raises(RuntimeError):
        write_layers(path, plan(), {})
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_a_table_of_another_length_is_refused(tmp_path):
    with pytest.raises(InputError, match="a table of 1 rows"):
        write_layers(tmp_path / "run.zip", plan(), {}, [{}])
    assert not list(tmp_path.iterdir())
