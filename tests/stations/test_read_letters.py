"""What a maker is told of the letters in a zone."""

import numpy as np
import pytest

from firstcast.geometry import solids
from firstcast.geometry.body import Body
from firstcast.geometry.zones import Box, Zone
from firstcast.ranges import Range
from firstcast.stations.read import Readings, Settings, read
from firstcast.vocabulary import Basis, Verdict, ZoneMeaning
from stations.test_read import MATERIALS, limits

FACE = Box((-9.0, -9.0, -0.1), (9.0, 9.0, 9.0))


def lettered(stroke_mm: float, step_mm: float) -> Body:
    """Five upright strokes 2 mm tall, 0.6 mm between them, on a finely divided plate."""
    plate = solids.box((7.0, 4.0, 2.0), at_mm=(0.0, 0.0, -1.0))
    for number in range(5):
        x = (number - 2) * (stroke_mm + 0.6)
        plate += solids.box((stroke_mm, 2.0, 2 * step_mm), at_mm=(x, 0.0, 0.0))
    mesh = solids.from_manifold(plate.refine_to_length(0.2))
    return Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("plinth",))


def told(body: Body, *zones: Zone, **changes) -> Readings:
    return read(
        piece="figure",
        body=body,
        limits=limits(**changes),
        materials=MATERIALS,
        height_mm=40.0,
        settings=Settings(),
        zones=zones,
    )


def of_letters(result: Readings):
    return [finding for finding in result.findings if "letters" in finding.code]


def test_fine_letters_are_told_with_the_stroke_and_figure_that_would_do():
    zone = Zone("name", ZoneMeaning.LETTERS, shape=FACE)
    result = told(lettered(0.15, 0.3), zone)
    (finding,) = of_letters(result)
    assert (finding.code, finding.part, finding.verdict) == ("fine-letters", "plinth", Verdict.WATCH)
    assert finding.measured == pytest.approx(0.15, abs=0.03)
    assert finding.limit == limits().raised_mm.likely
    assert "raised, 2.0 mm tall and 0.30 mm high" in finding.says
    assert "Too fine: strokes" in finding.says
    assert "the spaces" not in finding.says
    assert "Widen the strokes to 0.20 mm" in finding.mend
    assert f"make the figure {40.0 * finding.limit / finding.measured:.0f} mm high" in finding.mend


def test_letters_that_keep_to_the_limits_are_sound_and_what_else_is_read_stays():
    body = lettered(0.35, 0.3)
    zone = Zone("name", ZoneMeaning.LETTERS, shape=FACE)
    result = told(body, zone)
    (finding,) = of_letters(result)
    assert (finding.code, finding.verdict, finding.mend) == ("letters", Verdict.SOUND, "Nothing to do.")
    without = told(body)
    assert of_letters(without) == []
    assert without.letters == ()
    assert [found for found in result.findings if found is not finding] == list(without.findings)
    np.testing.assert_array_equal(without.walls.width_mm, result.walls.width_mm)


def test_only_the_makers_own_limit_makes_it_a_stop():
    zone = Zone("name", ZoneMeaning.LETTERS, shape=FACE)
    own = Range(0.3, 0.3, 0.3, basis=Basis.MAKER)
    (finding,) = of_letters(told(lettered(0.15, 0.3), zone, raised_mm=own))
    assert finding.verdict is Verdict.STOP


def test_a_zone_without_letters_or_without_surface_or_of_another_meaning():
    body = lettered(0.35, 0.3)
    bare = Zone("back", ZoneMeaning.LETTERS, shape=Box((-9.0, -9.0, -9.0), (9.0, 9.0, -1.95)))
    (finding,) = of_letters(told(body, bare))
    assert (finding.code, finding.verdict) == ("letters-unread", Verdict.WATCH)
    assert "no letters stand out" in finding.says
    away = Zone("away", ZoneMeaning.LETTERS, shape=Box((50.0, 50.0, 50.0), (51.0, 51.0, 51.0)))
    precious = Zone("name", ZoneMeaning.PRECIOUS, shape=FACE)
    assert of_letters(told(body, away, precious)) == []
