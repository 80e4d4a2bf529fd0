"""Files cut short, with bytes changed, lost and added: a mesh or an error in words, and never much memory."""

import tracemalloc

import pytest
import trimesh
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firstcast.errors import FileError
from firstcast.io.meshes import MESH_SUFFIXES, read_meshes, survey
from mesh_files import box_file, exported, shape_of, write
from part_shapes import box

MOST_BYTES = 32 << 20
"""A box's file is some kilobytes; a count believed without a look at the file's size asks for far more."""

KINDS = [*MESH_SUFFIXES, ".text.stl", ".text.ply", ".uneven.ply", ".quads.obj"]
QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


def whole_file(folder, kind: str) -> bytes:
    if kind == ".text.stl":
        return exported(folder, box(), ".stl", file_type="stl_ascii").read_bytes()
    if kind == ".text.ply":
        return trimesh.exchange.ply.export_ply(shape_of(box()), encoding="ascii")
    if kind == ".uneven.ply":
        even = exported(folder, box(), ".ply").read_bytes()
        last = even[-13:]
        return even.replace(b"face 12", b"face 13") + b"\4" + last[1:] + last[-4:]
    if kind == ".quads.obj":
        lines = [f"v {x} {y} {z}" for x in (0, 1) for y in (0, 1) for z in (0, 1)]
        lines += ["o a", *("f " + " ".join(f"{k - 8}//1" for k in quad) for quad in QUADS)]
        return "\n".join(lines).encode()
    return box_file(folder, kind).read_bytes()


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """By kind: a folder and the whole file, read once so that no library is loaded later."""
    found = {}
    for kind in KINDS:
        folder = tmp_path_factory.mktemp("damage")
        found[kind] = folder, whole_file(folder, kind)
        read_meshes(write(folder, f"whole.{kind.rsplit('.', 1)[-1]}", found[kind][1]))
    return found


def check_reading(folder, kind: str, content: bytes) -> bool:
    """True if the file is refused."""
    path = write(folder, f"damaged.{kind.rsplit('.', 1)[-1]}", content)
    errors = []
    for reading in (read_meshes, survey):
        if kind != ".3mf":  # what a compiled library allocates is not seen from here
            tracemalloc.start()
        try:
            reading(path)
        except FileError as error:
            errors.append(error)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert peak < MOST_BYTES
    assert all(error.what and error.where == path.name and error.mend for error in errors)
    return len(errors) == 2


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_changed_bytes_give_a_mesh_or_words(files, kind, data):
    folder, content = files[kind]
    places = st.integers(0, len(content) - 1)
    change = st.tuples(places, st.integers(0, 4), st.binary(max_size=4))
    broken = bytearray(content)
    for place, lost, new in data.draw(st.lists(change, min_size=1, max_size=6)):
        broken[place : place + lost] = new
    check_reading(folder, kind, bytes(broken))


@pytest.mark.parametrize("kind", KINDS)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_a_file_cut_short_is_refused_or_lacks_but_its_end(files, kind, data):
    folder, content = files[kind]
    cut = data.draw(st.integers(0, len(content) - 1))
    refused = check_reading(folder, kind, content[:cut])
    if kind != ".quads.obj" and kind != ".obj":  # a text of lines may end at any line
        assert refused or not content[cut:].strip()
