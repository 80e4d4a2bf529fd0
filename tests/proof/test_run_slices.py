"""Whether the proof of a run notices what is wrong with the slices of its 3MF."""

import re
import zipfile

import numpy as np
import pytest
from manifold3d import Manifold

from firstcast.errors import FileError
from firstcast.fields.coverage import Layers
from firstcast.io.run_files import write_run_3mf
from firstcast.printing.run import Placement, Run
from firstcast.proof.check_run_slices import slice_rows
from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_pixels import cuts_of
from firstcast.proof.run_package import read_run_package
from firstcast.vocabulary import Verdict
from layer_bodies import figure, random_body, standing

LAYER_MM, COUNT = 0.2, 60
MODEL = "3D/3dmodel.model"
SLICE = r'<s:slice ztop="[^"]*"(?:/>|>.*?</s:slice>)\n'
EXPECTED = ExpectedRun("first", (300, 200), (0.05, 0.05), LAYER_MM, COUNT, (), slices=True)


@pytest.fixture(scope="module")
def model(tmp_path_factory):
    """The text of a sliced run's model."""
    path = tmp_path_factory.mktemp("sliced") / "run.3mf"
    piece, props, tips = figure()
    run = Run("first", (Placement("a", 6.0, 5.0), Placement("b", 9.0, 3.0)))
    known = {"a": standing(piece, props, tips), "b": standing(random_body(3))}
    write_run_3mf(path, run, known, slices=Layers(0.0, LAYER_MM, COUNT))
    with zipfile.ZipFile(path) as package:
        return {name: package.read(name).decode() for name in package.namelist()}


def proved(folder, model, text=None, expected=EXPECTED):
    path = folder / "run.3mf"
    with zipfile.ZipFile(path, "w") as package:
        for name, data in model.items():
            package.writestr(name, text if name == MODEL and text is not None else data)
    package = read_run_package(path)
    cuts = {
        name: cuts_of(each.points, each.triangles, LAYER_MM, COUNT) for name, each in package.objects.items()
    }
    return {row.check: row for row in slice_rows(package, cuts, expected)}


def faults(rows):
    return {check for check, row in rows.items() if row.verdict is not Verdict.SOUND}


def changed(text, number, change):
    """The model with its slice of this number, counted over all objects, changed."""
    slices = [found.span() for found in re.finditer(SLICE, text, re.DOTALL)]
    start, stop = slices[number]
    return text[:start] + change(text[start:stop]) + text[stop:]


def scaled_places(change):
    """Changes x and y of every place of a slice."""

    def moved(found):
        x, y = change(float(found[1]), float(found[2]))
        return f'<s:vertex x="{x:.9g}" y="{y:.9g}"/>'

    return lambda piece: re.sub(r'<s:vertex x="([^"]+)" y="([^"]+)"/>', moved, piece)


def test_sound_slices_are_their_sections(tmp_path, model):
    rows = proved(tmp_path, model)
    assert len(rows) == 3
    assert not faults(rows)
    assert "slices of 3 objects" in rows["slices of every object"].result


def test_slices_that_should_be_there_and_are_not(tmp_path, model):
    text = re.sub(r"<s:slicestack.*?</s:slicestack>\n", "", model[MODEL], flags=re.DOTALL)
    text = re.sub(r' s:slicestackid="\d+" s:meshresolution="fullres"', "", text)
    rows = proved(tmp_path, model, text)
    assert "slices of every object" in faults(rows)
    assert "without: a, a props, b" in rows["slices of every object"].result
    unsliced = ExpectedRun("first", (300, 200), (0.05, 0.05), LAYER_MM, COUNT, ())
    assert not proved(tmp_path, model, text, unsliced)


@pytest.mark.parametrize(
    "change",
    [
        scaled_places(lambda x, y: (x + 0.002, y)),
        scaled_places(lambda x, y: (x, y - 0.002)),
        scaled_places(lambda x, y: (1.001 * x, 1.001 * y)),
        scaled_places(lambda x, y: (-x, y)),
        scaled_places(lambda x, y: (x + 40.0, y)),
        scaled_places(lambda x, y: (x - 40.0, y)),
        scaled_places(lambda x, y: (x, y + 40.0)),
    ],
    ids=["aside", "back", "larger", "mirrored", "far right", "far left", "far behind"],
)
def test_places_that_are_not_the_section_s(tmp_path, model, change):
    rows = proved(tmp_path, model, changed(model[MODEL], 40, change))
    assert faults(rows) == {"slices are the sections of their meshes"}
    assert "1 slice unlike" in rows["slices are the sections of their meshes"].result
    assert "'a', layer 40," in rows["slices are the sections of their meshes"].result


def test_a_loop_that_runs_the_other_way(tmp_path, model):
    def reverse(piece):
        order = [int(v) for v in re.findall(r'v2="(\d+)"', piece)]
        turned = iter([*order[-2::-1], order[-1]])
        return re.sub(r'v2="\d+"', lambda _: f'v2="{next(turned)}"', piece)

    rows = proved(tmp_path, model, changed(model[MODEL], 15, reverse))
    assert faults(rows) == {"slices are the sections of their meshes"}


def test_an_empty_slice_and_one_that_is_left_out(tmp_path, model):
    emptied = changed(model[MODEL], 15, lambda piece: re.sub(r">\n.*", "/>\n", piece, flags=re.DOTALL))
    assert faults(proved(tmp_path, model, emptied)) == {"slices are the sections of their meshes"}
    shorter = changed(model[MODEL], 15, lambda piece: "")
    assert faults(proved(tmp_path, model, shorter)) == {
        "heights of the slices",
        "slices are the sections of their meshes",
    }


def test_the_last_slices_left_out(tmp_path, model):
    stack, end, rest = model[MODEL].partition("</s:slicestack>")
    # the very last one may be empty: the piece ends below its middle
    kept = stack[: [found.start() for found in re.finditer(SLICE, stack, re.DOTALL)][-2]]
    rows = proved(tmp_path, model, kept + end + rest)
    assert faults(rows) == {"slices are the sections of their meshes"}


def test_slices_of_layers_of_another_thickness(tmp_path, model):
    text = re.sub(r'ztop="([^"]+)"', lambda found: f'ztop="{1.25 * float(found[1]):.9g}"', model[MODEL])
    rows = proved(tmp_path, model, text)
    assert "heights of the slices" in faults(rows)


def test_a_loop_that_is_not_closed(tmp_path, model):
    def opened(piece):
        kept = piece.rindex("<s:segment")
        return piece[:kept] + piece[piece.index("\n", kept) + 1 :]

    try:
        rows = proved(tmp_path, model, changed(model[MODEL], 15, opened))
    except FileError:
        return
    assert "slices of every object" in faults(rows)


def test_a_corner_that_is_not_there_is_no_sound_file(tmp_path, model):
    with pytest.raises(FileError, match="not a sound 3MF"):
        proved(tmp_path, model, changed(model[MODEL], 15, lambda piece: piece.replace('v2="0"', 'v2="9999"')))


def test_slices_are_read_as_they_are_written(tmp_path, model):
    proved(tmp_path, model)
    slices = read_run_package(tmp_path / "run.3mf").objects["b"].slices
    assert slices is not None
    assert slices.tops_mm == pytest.approx(LAYER_MM * (np.arange(len(slices.tops_mm)) + 1))
    assert slices.open_loops == 0
    assert len(slices.corners_mm) == slices.loops[-1]
    assert len(slices.loops) - 1 == slices.starts[-1]


def test_a_flat_face_on_the_plane_of_a_section_counts_either_way(tmp_path):
    path = tmp_path / "run.3mf"
    # it ends on the middle of layer 5 but for the last digit of a float32
    plate = Manifold.cube((3.0, 3.0, 1.1)).translate((-1.5, -1.5, 0.0))
    write_run_3mf(
        path, Run("first", (Placement("p", 5.0, 5.0),)), {"p": standing(plate)}, slices=Layers(0.0, 0.2, 6)
    )
    with zipfile.ZipFile(path) as package:
        model = {name: package.read(name).decode() for name in package.namelist()}
    assert not faults(proved(tmp_path, model))
    layer = re.findall(SLICE, model[MODEL], re.DOTALL)[4].replace('ztop="1"', 'ztop="1.2"')
    for piece in ('<s:slice ztop="1.2"/>\n', layer):
        other = changed(model[MODEL], 5, lambda _, piece=piece: piece)
        assert not faults(proved(tmp_path, model, other))
    assert faults(proved(tmp_path, model, changed(model[MODEL], 4, lambda _: '<s:slice ztop="1"/>\n')))
