"""What a maker is told of grooves and ridges with sloping sides."""

from dataclasses import replace

import numpy as np
import pytest

from firstcast.forecast.ball import closed_by_ball, opened_by_ball
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.zones import Box, Zone
from firstcast.process.chain import GenerationRadii, null_chain
from firstcast.process.films import Film, v_groove_left_mm
from firstcast.ranges import Range
from firstcast.stations.read import Readings, Settings, read
from firstcast.stations.read_lines import KEPT_RATIO, lines_in, rolled_mm
from firstcast.vocabulary import Basis, Verdict, ZoneMeaning
from geometry.line_solids import profile_block, v_top
from stations.test_read import MATERIALS, limits

BARE = null_chain((0.05, 0.05), 0.05)


def chain_of(*radii: float):
    """Scenarios whose paint levels by these balls."""
    return tuple(replace(BARE, paint=Film(radius, radius)) for radius in radii)


PAINTED = chain_of(0.02, 0.07, 0.2)


def plates(*tops, names: tuple[str, ...] = ()) -> Body:
    """Blocks with lines along y in their tops, side by side along x, each a part."""
    points, triangles, owner = [], [], []
    for number, top in enumerate(tops):
        block = profile_block(top)
        triangles.append(block.triangles + sum(len(p) for p in points))
        points.append(block.points + np.array([6.0 * number, 0.0, 0.0]))
        owner.append(np.full(len(block.triangles), number, np.uint16))
    mesh = Mesh(np.concatenate(points).astype(np.float32), np.concatenate(triangles).astype(np.int32))
    return Body(mesh, np.concatenate(owner), names or tuple(f"plate_{n}" for n in range(len(tops))))


def told(body: Body, *, chain=PAINTED, most: int = 12, zones: tuple[Zone, ...] = (), **changes) -> Readings:
    return read(
        piece="figure",
        body=body,
        limits=limits(**changes),
        materials=MATERIALS,
        height_mm=30.0,
        settings=Settings(most_findings=most),
        zones=zones,
        chain=chain,
    )


def of_lines(result: Readings):
    return [finding for finding in result.findings if finding.code.startswith("sloping")]


def test_a_fine_groove_is_told_with_what_films_leave_and_what_would_do():
    """0.15 mm wide, 0.15 mm deep: a ball of 0.07 mm fills 0.07 (1 / sin a - 1) with tan a = 1/2, which is 0.087 mm."""
    result = told(plates(v_top(0.15, 0.15), names=("face",)))
    (line,) = result.lines
    assert (line.raised, line.part) == (False, "face")
    assert line.width_mm == pytest.approx(0.15, abs=0.025)
    assert line.depth_mm == pytest.approx(0.15, abs=0.0125)
    assert line.length_mm == pytest.approx(3.0, abs=0.3)
    (finding,) = of_lines(result)
    assert (finding.code, finding.part, finding.verdict) == ("sloping-groove", "face", Verdict.WATCH)
    assert finding.measured == line.width_mm
    expected = tuple(
        v_groove_left_mm(line.width_mm, line.depth_mm, radius, opening_deg=line.opening_deg)
        for radius in (0.02, 0.07, 0.2)
    )
    assert line.left_mm == pytest.approx(expected)
    assert line.left_mm[1] == pytest.approx(0.15 - 0.0865, abs=0.0125)
    assert "a groove 0.15 mm wide at its mouth and 0.15 mm deep" in finding.says
    assert f"Films and mould leave {line.left_mm[1]:.2f} mm of that" in finding.says
    # the engraved limit of 0.2 mm asks for more than the film, of which half is to stay
    assert finding.limit == pytest.approx(0.2, abs=0.02)
    assert "make the figure 40 mm high" in finding.mend or "make the figure 39 mm high" in finding.mend


def test_a_groove_wide_enough_is_too_fine_where_films_fill_half_of_it():
    """0.24 mm wide, 0.5 mm deep: a = 13.5 degrees, so a ball of 0.1 mm fills 0.33 mm of it."""
    body = plates(v_top(0.24, 0.5))
    assert lines_in(body, limits(), chain_of(0.02, 0.03, 0.05)) == ()
    chain = chain_of(0.02, 0.1, 0.2)
    (finding,) = of_lines(told(body, chain=chain))
    (line,) = lines_in(body, limits(), chain)
    larger = line.size_ratio * np.array([line.width_mm, line.depth_mm])
    assert v_groove_left_mm(*larger, 0.1, opening_deg=line.opening_deg) == pytest.approx(
        KEPT_RATIO * larger[1]
    )
    assert f"cut it {larger[0]:.2f} mm wide and {larger[1]:.2f} mm deep" in finding.mend
    wide = float(finding.mend.split("Open such a line to ")[1].split(" mm")[0])
    # told to the hundredth
    assert v_groove_left_mm(wide, line.depth_mm, 0.1) == pytest.approx(KEPT_RATIO * line.depth_mm, abs=0.02)


def test_what_is_left_is_what_the_forecasts_film_leaves():
    """The film on a mesh, beside the closed form from what was measured."""
    width, depth, radius = 0.3, 0.25, 0.08
    body = plates(v_top(width, depth))
    (line,) = lines_in(body, limits(engraved_mm=Range.exactly(0.4)), chain_of(0.0, radius, radius))
    points = np.asarray(body.mesh.points, np.float64)
    after = closed_by_ball(points, body.mesh.triangles, radius, reach_mm=0.4).points
    inner = (np.abs(points[:, 0]) < 1e-6) & (np.abs(points[:, 1]) < 1.0) & (points[:, 2] > -1.0)
    # the ball dips between edges of 0.04 mm by edge² / 8 R, and depth is read to a step of 0.0125 mm
    assert -after[inner, 2].mean() == pytest.approx(line.left_mm[1], abs=0.04**2 / (8 * radius) + 0.0125)
    assert line.left_mm[1] < 0.75 * depth


def test_what_is_left_of_a_ridge_is_what_an_opening_leaves():
    width, height, radius = 0.3, 0.15, 0.12
    generation = (GenerationRadii(0.0, radius),)
    chain = (BARE, replace(BARE, generations=generation), replace(BARE, generations=generation))
    body = plates(v_top(width, -height))
    (line,) = lines_in(body, limits(), chain)
    points = np.asarray(body.mesh.points, np.float64)
    after = opened_by_ball(points, body.mesh.triangles, radius, reach_mm=0.4).points
    crest = (np.abs(points[:, 0]) < 1e-6) & (np.abs(points[:, 1]) < 1.0) & (points[:, 2] > 0.1)
    assert after[crest, 2].mean() == pytest.approx(line.left_mm[1], abs=0.04**2 / (8 * radius) + 0.0125)
    assert line.left_mm[1] < 0.9 * height
    (finding,) = of_lines(told(body, chain=chain))
    assert "The cast keeps" in finding.says


def test_a_low_roof_is_held_by_its_height():
    result = told(plates(v_top(0.3, -0.1), names=("rim",)))
    (finding,) = of_lines(result)
    assert (finding.code, finding.part) == ("sloping-ridge", "rim")
    assert finding.measured == pytest.approx(0.1, abs=0.0125)
    assert finding.limit == pytest.approx(limits().raised_mm.likely)
    assert "a ridge 0.10 mm high on a foot of 0.30 mm" in finding.says
    assert "Raise such a line to 0.20 mm" in finding.mend
    # paint closes what is hollow: nothing is said of a ridge
    assert "keeps" not in finding.says
    assert of_lines(told(plates(v_top(0.3, -0.3)))) == []


def test_the_worst_of_a_part_is_told_and_the_others_counted():
    top = [(-1.8, 0.0)]
    for middle, width in ((-1.2, 0.18), (0.0, 0.12), (1.2, 0.15)):
        top += [(middle - width / 2, 0.0), (middle, -0.1), (middle + width / 2, 0.0)]
    result = told(plates([*top, (1.8, 0.0)]))
    assert len(result.lines) == 3
    (finding,) = of_lines(result)
    assert finding.measured == pytest.approx(0.12, abs=0.025)
    assert "2 more are too fine, 9 mm in all." in finding.says
    assert finding.place_mm is not None
    assert finding.place_mm[0] == pytest.approx(0.0, abs=0.0125)


def test_the_worst_parts_are_told_and_the_rest_in_one_line():
    result = told(plates(*(v_top(width, 0.1) for width in (0.18, 0.12, 0.15))), most=1)
    first, rest = of_lines(result)
    assert first.part == "plate_1"
    assert rest.part == "figure"
    assert rest.says.startswith("2 more grooves with sloping sides are too fine")
    assert "plate_0, plate_2" in rest.says
    assert first.id != rest.id
    assert {measure.name: measure.value for measure in result.measures}["sloping grooves"] == 3.0


def test_only_the_makers_own_limit_stops():
    body = plates(v_top(0.15, 0.15))
    assert of_lines(told(body))[0].verdict is Verdict.WATCH
    own = Range(0.2, 0.25, 0.3, basis=Basis.MAKER)
    assert of_lines(told(body, engraved_mm=own))[0].verdict is Verdict.STOP
    lower = Range(0.1, 0.25, 0.3, basis=Basis.MAKER)
    assert of_lines(told(body, engraved_mm=lower))[0].verdict is Verdict.WATCH


def test_between_two_parts_there_is_a_crease_and_in_letters_there_are_strokes():
    body = plates(v_top(0.15, 0.15))
    middles = body.mesh.points[body.mesh.triangles].mean(axis=1)
    two = Body(body.mesh, (middles[:, 0] > 0).astype(np.uint16), ("left", "right"))
    assert lines_in(two, limits(), PAINTED) == ()
    zone = Zone("name", ZoneMeaning.LETTERS, shape=Box((-9.0, -9.0, -9.0), (9.0, 9.0, 9.0)))
    assert lines_in(body, limits(), PAINTED, [zone]) == ()
    other = replace(zone, meaning=ZoneMeaning.PRECIOUS)
    assert len(lines_in(body, limits(), PAINTED, [other])) == 1


def test_short_lines_are_not_told_and_without_limits_nothing_is_read():
    body = plates(v_top(0.15, 0.15))
    short = profile_block(v_top(0.15, 0.15), length=0.8)
    stub = Body(short, np.zeros(len(short.triangles), np.uint16), ("stub",))
    assert lines_in(stub, limits(), PAINTED) == ()
    none = Range.exactly(0.0)
    assert lines_in(body, limits(engraved_mm=none, raised_mm=none), PAINTED) == ()


def test_balls_are_those_of_the_figures_size():
    chain = tuple(replace(one, mean_size_ratio=1.25) for one in PAINTED)
    # paint is on the cast, whose size is the figure's
    assert rolled_mm(chain, raised=False) == pytest.approx((0.02, 0.07, 0.2))
    mould = replace(BARE, generations=(GenerationRadii(0.1, 0.05),), mean_size_ratio=1.25)
    assert rolled_mm((mould,), raised=False) == pytest.approx((0.08,))
    assert rolled_mm((mould,), raised=True) == pytest.approx((0.04,))
    assert rolled_mm((), raised=True) == (0.0, 0.0, 0.0)
