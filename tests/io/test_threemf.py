"""3MF: units, builds, components and mirrors, through the library that wrote them."""

import struct
import zipfile

import lib3mf
import numpy as np
import pytest

from firstcast.errors import FileError
from firstcast.geometry.mesh import measure_solid
from firstcast.io.meshes import read_meshes, survey
from mesh_files import box_file, model_of, placing, threemf, write
from part_shapes import ball, box


def test_threemf_units_builds_components_and_mirrors(tmp_path):
    model, (left, right, spare) = model_of(box(), ball(2.0), box((1, 1, 1)))
    model.SetUnit(lib3mf.ModelUnit.Inch)
    model.AddBuildItem(left, placing(np.diag([-1.0, 1, 1]), (30, 0, 0)))
    whole = model.AddComponentsObject()
    whole.SetName("")
    quarter = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    whole.AddComponent(left, placing(quarter, (0, 0, 7)))
    whole.AddComponent(right, placing(np.eye(3) * 2))
    model.AddBuildItem(whole, placing(np.eye(3), (0, 100, 0)))
    assert spare.GetName() == "part 2"  # an object that is not built
    reads = read_meshes(threemf(tmp_path, model))
    assert [read.name for read in reads] == ["part 0", "part 0 2", "part 1"]
    assert all(read.unit_mm == 25.4 for read in reads)
    assert np.allclose(reads[0].mesh.bounds, [[25, -4, -3], [35, 4, 3]])
    assert np.allclose(reads[1].mesh.bounds, [[-4, 95, 4], [4, 105, 10]])
    assert np.allclose(reads[2].mesh.bounds.mean(axis=0), [0, 100, 0], atol=1e-6)
    volumes = [measure_solid(read.mesh).volume for read in reads]
    assert volumes == pytest.approx([480, 480, 8 * measure_solid(ball(2.0)).volume], rel=1e-5)  # float32


@pytest.mark.parametrize(
    ("unit", "millimetres"),
    [("MicroMeter", 0.001), ("MilliMeter", 1.0), ("CentiMeter", 10.0), ("Foot", 304.8), ("Meter", 1000.0)],
)
def test_threemf_says_its_unit(tmp_path, unit, millimetres):
    model, (shown,) = model_of(box())
    model.SetUnit(getattr(lib3mf.ModelUnit, unit))
    model.AddBuildItem(shown, placing())
    assert survey(threemf(tmp_path, model)).unit_mm == millimetres


def test_threemf_that_swells_or_lies_is_refused(tmp_path):
    path = tmp_path / "bomb.3mf"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("3D/3dmodel.model", b"\0" * (100 << 20))
    with pytest.raises(FileError, match="swell"):
        read_meshes(path)
    with zipfile.ZipFile(path, "w") as package:
        for number in range(10_001):
            package.writestr(str(number), b"")
    with pytest.raises(FileError, match="10001 entries"):
        read_meshes(path)
    honest = box_file(tmp_path, ".3mf").read_bytes()
    at = honest.index(b"PK\x01\x02")  # sizes stand at 20 and 24 of a directory entry
    lying = bytearray(honest)
    lying[at + 24 : at + 28] = struct.pack("<I", 7)
    with pytest.raises(FileError):
        read_meshes(write(tmp_path, "lie.3mf", bytes(lying)))


def test_threemf_without_a_build_has_nothing_to_read(tmp_path):
    model, _ = model_of(box())
    with pytest.raises(FileError, match="no triangles"):
        read_meshes(threemf(tmp_path, model))


def test_threemf_of_beams_is_refused_in_words(tmp_path):
    model, (shown,) = model_of(box())
    lattice = shown.BeamLattice()
    beam = lib3mf.Beam()
    beam.Indices[0], beam.Indices[1] = 0, 7
    beam.Radii[0] = beam.Radii[1] = 1.0
    lattice.SetMinLength(0.1)
    lattice.AddBeam(beam)
    model.AddBuildItem(shown, placing())
    with pytest.raises(FileError, match="beams"):
        read_meshes(threemf(tmp_path, model))


def test_threemf_that_shows_a_mesh_too_often(tmp_path):
    model, (shown,) = model_of(ball(subdivisions=5))
    for _ in range(60_000_000 // shown.GetTriangleCount() + 1):
        model.AddBuildItem(shown, placing())
    with pytest.raises(FileError, match="corners of triangles are too many"):
        read_meshes(threemf(tmp_path, model))
