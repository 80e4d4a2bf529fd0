"""Shares of pixels as the proof reckons them, beside a general library's areas, pixel by pixel."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as arrays
from manifold3d import CrossSection, FillRule

from firstcast.proof.expected_run import Standing
from firstcast.proof.layer_pixels import Frame, Reference, cuts_of
from layer_bodies import as_mesh, random_body

PIXEL = (0.1, 0.125)
NOWHERE = np.zeros(2)


def areas_by_pixel(section, columns, rows):
    """(rows, columns) share of each pixel that a section covers, each cut out by the library."""
    found = np.zeros((rows, columns))
    for row in range(rows):
        strip = section ^ CrossSection.square((columns * PIXEL[0], PIXEL[1])).translate((0, row * PIXEL[1]))
        for column in range(columns) if not strip.is_empty() else ():
            pixel = CrossSection.square(PIXEL).translate((column * PIXEL[0], row * PIXEL[1]))
            found[row, column] = (strip ^ pixel).area() / (PIXEL[0] * PIXEL[1])
    return found


def shares_of(loops, columns, rows, move=NOWHERE):
    frame = Frame((columns, rows), PIXEL)
    starts = np.r_[0, np.cumsum([len(loop) for loop in loops])].astype(np.int64)
    outside = frame.add_loops(np.concatenate(loops), starts, np.array(move, np.float64))
    shares = frame.shares()
    assert not frame.changes.any()
    return shares, outside


@pytest.mark.parametrize("seed", range(4))
def test_sections_cover_what_a_general_library_cuts(seed):
    body = random_body(seed)
    mesh = as_mesh(body)
    columns, rows, layer_mm = 50, 40, 0.37
    cuts = cuts_of(mesh.points, mesh.triangles, layer_mm, 12)
    for layer in (1, 4, 6):
        frame = Frame((columns, rows), PIXEL)
        turn = Standing("a", 2.4, 2.6, 31.0)
        height = (layer + 0.5) * layer_mm
        frame.add_section(cuts, layer, height, turn.matrix, np.array([turn.x_mm, turn.y_mm]))
        section = body.slice(height).rotate(31.0).translate((2.4, 2.6))
        # the library rounds places to 1e-6 of the section's size or less, and frames are float32
        assert np.abs(frame.shares() - areas_by_pixel(section, columns, rows)).max() < 1e-4


@settings(max_examples=60, deadline=None)
@given(
    arrays.arrays(
        np.float64,
        st.tuples(st.integers(3, 7), st.just(2)),
        elements=st.integers(-8, 24).map(lambda n: n / 16),
    ),
    st.sampled_from([0.0, 0.003, -0.07]),
)
def test_any_polygon_covers_as_often_as_it_goes_round(corners, shift):
    # corners on the borders of pixels, edges along them, outside, crossing: what winds once counts once, and backwards less
    columns, rows = 9, 7
    shares, _ = shares_of([corners + shift], columns, rows)
    positive, negative = (
        areas_by_pixel(CrossSection([loop], FillRule.Positive), columns, rows)
        for loop in (corners + shift, (corners + shift)[::-1])
    )
    simple = positive - negative
    if len(corners) == 3:
        assert np.abs(shares - simple).max() < 1e-4
    # where it winds twice the sum is greater than what is covered
    assert (shares >= simple - 1e-4)[negative == 0].all()
    assert (shares <= simple + 1e-4)[positive == 0].all()
    total = 0.5 * np.sum(
        corners[:, 0] * np.roll(corners[:, 1], -1) - np.roll(corners[:, 0], -1) * corners[:, 1]
    )
    wide, _ = shares_of([corners], 60, 60, (2.0, 2.0))
    assert wide.sum(dtype=np.float64) * PIXEL[0] * PIXEL[1] == pytest.approx(total, abs=1e-5)


def test_what_lies_beyond_the_frame_is_told_and_changes_nothing_within():
    square = np.array([(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)])
    for move in ((-0.45, 0.2), (0.52, -0.3), (-3.0, 0.0), (0.0, 4.0), (5.0, 0.0), (-0.2, -0.2)):
        shares, outside = shares_of([square], 12, 9, move)
        whole = areas_by_pixel(CrossSection([square]).translate(move), 12, 9)
        assert np.abs(shares - whole).max() < 1e-5
        assert outside > 0
    assert shares_of([square], 12, 9, (0.1, 0.1))[1] == 0


def test_pixels_are_told_by_how_much_and_where():
    body = as_mesh(random_body(1))
    standing = (Standing("a", 2.4, 2.6),)
    cuts = {"a": (cuts_of(body.points, body.triangles, 0.2, 12),)}
    reference = Reference(cuts, standing, (50, 40), PIXEL, 0.2, threads=1)
    frame = Frame((50, 40), PIXEL)
    frame.add_section(cuts["a"][0], 5, 1.1, np.eye(2), np.array([2.4, 2.6]))
    wanted = 255 * frame.shares().astype(np.float64)
    image = np.round(wanted).astype(np.uint8)
    found = reference.compare(5, image)
    assert (found.off, found.levels) == (0, image.sum())
    assert found.most == pytest.approx(np.abs(image - wanted).max(), abs=1e-4)
    row, column = np.unravel_index(np.argmax(image), image.shape)
    image[row, column] -= 9
    found = reference.compare(5, image)
    assert (found.off, found.row, found.column, found.level) == (1, row, column, image[row, column])
    assert found.most == pytest.approx(9.0, abs=0.51)
