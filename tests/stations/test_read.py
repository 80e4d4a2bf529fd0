"""Readings on bodies whose walls and gaps are known, as the maker is told them."""

from dataclasses import replace

import numpy as np
import pytest
import trimesh

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.slender import slender
from firstcast.geometry.whereabouts import where
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, choose
from firstcast.process.strength import BladeSection, bears, cured
from firstcast.ranges import Range
from firstcast.stations.read import Readings, Settings, read
from firstcast.stations.read_findings import Kind
from firstcast.vocabulary import Basis, ProcessKind, Verdict

LIMIT = Range(0.4, 0.6, 1.0)
MATERIALS = Materials(
    choose("printer", "mono-35"),
    choose("resin", "standard"),
    choose("mould", "addition-silicone-30a"),
    choose("cast", "polyurethane"),
    choose("paint", "brushed"),
)


def limits(**changes) -> Limits:
    plain = Limits(
        ProcessKind.TWO_PART_BLOCK, (0.05, 0.05), 0.05, (0.05,) * 3, 0.01, LIMIT, Range(0.2, 0.4, 0.8)
    )
    return replace(plain, **changes)


def fine(*size, at=(0.0, 0.0, 0.0), step=0.08) -> trimesh.Trimesh:
    """A box about a place, finely divided."""
    solid = trimesh.creation.box(size).subdivide_to_size(step)
    assert isinstance(solid, trimesh.Trimesh)
    return solid.apply_translation(at)


def body_of(**parts) -> Body:
    """A body of solids that don't touch, each a part."""
    points, triangles, owner = [], [], []
    for number, solid in enumerate(parts.values()):
        triangles.append(np.asarray(solid.faces) + sum(len(p) for p in points))
        points.append(np.asarray(solid.vertices))
        owner.append(np.full(len(solid.faces), number, np.uint16))
    mesh = Mesh(np.concatenate(points).astype(np.float32), np.concatenate(triangles).astype(np.int32))
    return Body(mesh, np.concatenate(owner), tuple(parts))


def readings(body: Body, *, most: int = 12, height_mm: float = 30.0, **changes) -> Readings:
    return read(
        piece="figure",
        body=body,
        limits=limits(**changes),
        materials=MATERIALS,
        height_mm=height_mm,
        settings=Settings(most_findings=most),
    )


def test_a_stout_block_has_nothing_to_tell():
    result = readings(body_of(block=fine(3, 3, 3, step=0.2)))
    assert result.findings == ()
    assert result.readings == ()
    assert result.says.startswith("nothing below the limit")


def test_a_thin_plate_is_told_with_its_part_place_limit_and_mend():
    result = readings(body_of(base=fine(4, 4, 2, step=0.2), cloak=fine(3, 0.3, 3, at=(0, 6, 9))))
    (finding,) = result.findings
    assert (finding.code, finding.part, finding.verdict) == ("thin-wall", "cloak", Verdict.WATCH)
    assert finding.measured == pytest.approx(0.3, rel=1e-5)
    assert finding.limit == pytest.approx(0.6)
    assert finding.place_mm is not None
    assert abs(finding.place_mm[1] - 6) == pytest.approx(0.15, abs=1e-6)
    assert "'cloak', back" in finding.says
    assert "0.30 mm thin" in finding.says
    # a figure of 30 mm whose wall is half as thick as it should be passes at 60
    assert "60 mm high" in finding.mend


def test_two_faces_that_stand_close_are_one_finding_of_both_parts():
    result = readings(body_of(arm=fine(3, 3, 1), torso=fine(3, 3, 1, at=(0, 0, 1.25))))
    (finding,) = result.findings
    assert finding.code == "narrow-gap"
    assert finding.measured == pytest.approx(0.25, rel=1e-5)
    assert "'arm' and 'torso'" in finding.says
    assert "they stand 0.25 mm apart" in finding.says


def test_a_long_thin_pin_is_told_with_what_it_bears():
    pin = fine(0.4, 0.4, 5.0)
    result = readings(body_of(pole=pin))
    (finding,) = result.findings
    assert finding.code == "thin-pin"
    assert finding.limit == limits().pin_mm.likely
    (reading,) = result.readings
    assert reading.middle_mm == pytest.approx(0.4, rel=1e-5)
    assert reading.length_mm == pytest.approx(5.0, abs=0.05)
    expected = bears(cured(MATERIALS.resin), BladeSection(reading.width_mm, 0.4), reading.length_mm).breaks_n
    assert f"the print at {expected.likely:.2g} N" in finding.says
    assert "the cast at" in finding.says


def test_nothing_is_cast_where_the_print_is_the_product():
    result = read(
        piece="figure",
        body=body_of(pole=fine(0.4, 0.4, 5.0)),
        limits=limits(),
        materials=replace(MATERIALS, cast=choose("cast", "none")),
        height_mm=30.0,
        settings=Settings(),
    )
    assert "the cast" not in result.findings[0].says


def block_with_slots(*slots) -> trimesh.Trimesh:
    """A block of 6 x 6 x 3 mm with slots 4 mm long in its top: place along x, width, depth."""
    cuts = [
        trimesh.creation.box((width, 4, 2 * depth)).apply_translation((x, 0, 1.5))
        for x, width, depth in slots
    ]
    cut = trimesh.boolean.difference([trimesh.creation.box((6, 6, 3)), *cuts], engine="manifold")
    fine_cut = cut.subdivide_to_size(0.08)
    assert isinstance(fine_cut, trimesh.Trimesh)
    return fine_cut


def test_shallow_lines_are_grooves_and_deep_ones_gaps():
    """0.12 and 0.3 mm wide, engraved 0.3 mm deep: only the first is finer than 0.2; 0.3 mm wide and 1 mm deep: a gap."""
    result = readings(body_of(plate=block_with_slots((-2, 0.12, 0.3), (0, 0.3, 0.3), (2, 0.3, 1.0))))
    assert [finding.code for finding in result.findings] == ["narrow-gap", "narrow-groove"]
    gap, groove = result.findings
    assert gap.measured == pytest.approx(0.3, rel=1e-4)
    assert groove.measured == pytest.approx(0.12, rel=1e-4)
    assert groove.limit == pytest.approx(limits().engraved_mm.likely)
    assert gap.place_mm is not None
    assert groove.place_mm is not None
    assert gap.place_mm[0] == pytest.approx(2, abs=0.16)
    assert groove.place_mm[0] == pytest.approx(-2, abs=0.07)


def block_with_ridges(*ridges) -> trimesh.Trimesh:
    """A block of 8 x 6 x 3 mm with ridges 4 mm long on its top: place along x, width, height."""
    bars = [
        trimesh.creation.box((width, 4, 2 * height)).apply_translation((x, 0, 1.5))
        for x, width, height in ridges
    ]
    block = trimesh.boolean.union([trimesh.creation.box((8, 6, 3)), *bars], engine="manifold")
    fine_block = block.subdivide_to_size(0.06)
    assert isinstance(fine_block, trimesh.Trimesh)
    return fine_block


def test_raised_lines_are_held_by_their_height_and_walls_by_their_thickness():
    """0.3 mm wide: 0.14 mm high is below 0.2; 0.3 high passes; 2 mm high it is a wall of 0.3."""
    result = readings(body_of(plate=block_with_ridges((-3, 0.3, 0.14), (0, 0.3, 0.3), (3, 0.3, 2.0))))
    assert [finding.code for finding in result.findings] == ["thin-wall", "low-ridge"]
    wall, ridge = result.findings
    assert wall.measured == pytest.approx(0.3, rel=1e-4)
    assert wall.place_mm is not None
    assert wall.place_mm[0] == pytest.approx(3, abs=0.16)
    # flanks are read by their vertices' thirds: half a triangle at crest and foot counts elsewhere
    assert ridge.measured == pytest.approx(0.14, abs=0.03)
    assert ridge.limit == pytest.approx(limits().raised_mm.likely)
    assert "raised lines 0.30 mm wide" in ridge.says
    assert ridge.place_mm is not None
    assert ridge.place_mm[0] == pytest.approx(-3, abs=0.16)


def test_a_blade_that_grows_thicker_is_a_wall_and_no_ridge():
    """A wedge of 12 degrees with a rim of 0.3 mm, 5 mm long: where it is thinner than 0.6 mm, a strip 1.4 mm high."""
    wedge = trimesh.creation.box((5, 0.3, 4)).subdivide_to_size(0.08)
    points = wedge.vertices.copy()
    points[:, 1] *= 1.0 + (2.0 - points[:, 2]) * np.tan(np.radians(6)) * 2 / 0.3
    result = readings(body_of(blade=trimesh.Trimesh(points, wedge.faces, process=False)))
    assert [finding.code for finding in result.findings] == ["thin-wall"]


def test_the_gravest_are_told_and_the_rest_counted():
    plates = {f"leaf_{n}": fine(2, 0.2 + 0.05 * n, 2, at=(0, 4 * n, 0), step=0.15) for n in range(5)}
    result = readings(body_of(**plates), most=2)
    assert [finding.part for finding in result.findings] == ["leaf_0", "leaf_1", "figure"]
    rest = result.findings[-1]
    assert rest.code == "thin-wall"
    assert len({finding.id for finding in result.findings}) == 3
    assert rest.says.startswith("3 more walls are below 0.60 mm")
    assert rest.measured == pytest.approx(0.3, rel=1e-4)
    assert len(result.readings) == 5


def test_only_the_makers_own_limit_stops():
    body = body_of(cloak=fine(3, 0.3, 3, step=0.15))
    assert readings(body).findings[0].verdict is Verdict.WATCH
    own = Range(0.4, 0.6, 1.0, basis=Basis.MAKER)
    assert readings(body, wall_mm=own).findings[0].verdict is Verdict.STOP
    # between the low and the likely end it may yet hold
    between = Range(0.25, 0.6, 1.0, basis=Basis.MAKER)
    assert readings(body, wall_mm=between).findings[0].verdict is Verdict.WATCH


def test_the_id_survives_a_small_edit():
    """The leaf 0.01 mm thicker and another part moved: the same finding, so that its acceptance holds."""
    leaf, other = fine(1.2, 0.3, 1.2, at=(0.1, 0.0, 10.0)), fine(3, 3, 3, at=(8, 0, 2), step=0.2)
    edited = fine(1.2, 0.31, 1.2, at=(0.1, 0.0, 10.0))
    before = readings(body_of(leaf=leaf, block=other)).findings
    after = readings(body_of(leaf=edited, block=other.copy().apply_translation((0.2, 0, 0)))).findings
    assert [finding.id for finding in before] == [finding.id for finding in after]
    assert before[0].measured != after[0].measured


def test_where_is_told_from_the_figure():
    body = body_of(block=fine(10, 10, 20, at=(0, 0, 10), step=1.0))
    assert where(body.mesh, (0.0, -4.0, 12.0)) == "front, 12 mm up"
    assert where(body.mesh, (4.0, 4.0, 3.0)) == "back left, 3 mm up"
    assert where(body.mesh, (-4.0, 0.5, 3.0)) == "right, 3 mm up"
    assert where(body.mesh, (0.0, 0.0, 19.6)) == "middle, 20 mm up"


@pytest.mark.parametrize(
    ("size", "thick", "is_pin"),
    [((0.3, 0.3, 3.0), 0.3, True), ((0.3, 2.0, 3.0), 0.3, False), ((0.3, 0.3, 0.9), 0.3, False)],
)
def test_what_is_slender(size, thick, is_pin):
    rng = np.random.default_rng(48113)
    points = (rng.random((4000, 3)) - 0.5) * np.array(size)
    found = slender(points, thick)
    assert (found is not None) is is_pin
    if found is not None:
        assert found.length_mm == pytest.approx(size[2], rel=0.02)


def test_what_the_maker_allows_is_not_told():
    """No gap is too narrow where the limit is 0, no pin too thin where it is thicker than a pin must be."""
    body = body_of(
        arm=fine(3, 3, 1), torso=fine(3, 3, 1, at=(0, 0, 1.25)), pole=fine(0.4, 0.4, 5.0, at=(9, 0, 0))
    )
    nothing = Range.exactly(0.0)
    assert {f.code for f in readings(body).findings} == {"narrow-gap", "thin-pin"}
    assert readings(body, gap_mm=nothing, pin_mm=Range.exactly(0.35)).findings == ()
    assert {f.code for f in readings(body, wall_mm=nothing).findings} == {"narrow-gap"}


def test_every_kind_has_its_limit():
    plain = limits()
    assert [kind.limit(plain) for kind in Kind] == [
        plain.wall_mm,
        plain.pin_mm,
        plain.gap_mm,
        plain.engraved_mm,
        plain.raised_mm,
    ]
