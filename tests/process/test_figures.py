"""The data files hold figures of the form that the code expects, and overrides keep it."""

import math
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import InputError
from firstcast.process.figures import figure_from, nearest_word, override_figure, read_data
from firstcast.process.kinds import kind_of
from firstcast.process.materials import CATALOGUES, catalogue, choose, overridden
from firstcast.ranges import Range
from firstcast.vocabulary import Basis, ProcessKind

GOOD = {"low": 1, "likely": 2, "high": 3, "unit": "mm", "basis": "memory", "source": "no source"}
UNIT_OF_SUFFIX = {
    "_mm": "mm",
    "_kpa": "kPa",
    "_mpa": "MPa",
    "_pa_s": "Pa s",
    "_s": "s",
    "_deg": "deg",
    "per_degC": "1/degC",
    "_degC": "degC",
    "_ratio": "ratio",
    "shore_a": "Shore A",
    "_mj_cm2": "mJ/cm2",
    "_mw_cm2": "mW/cm2",
    "_g_cm3": "g/cm3",
    "_kn_m": "kN/m",
    "_n_m": "N/m",
    "coats": "count",
    "pulls": "count",
}
"""The first suffix that fits decides."""


def every_record():
    for word in CATALOGUES:
        yield from catalogue(word).values()
    for kind in ProcessKind:
        yield kind_of(kind)


def every_figure():
    for record in every_record():
        for field in fields(record):
            value = getattr(record, field.name)
            if isinstance(value, Range):
                yield record.title, field.name, value


def test_every_figure_says_where_it_comes_from_in_the_unit_of_its_name():
    figures = list(every_figure())
    assert len(figures) > 200
    for title, name, figure in figures:
        assert figure.source.strip(), f"{title}: {name} has no source"
        expected = next(unit for suffix, unit in UNIT_OF_SUFFIX.items() if name.endswith(suffix))
        assert figure.unit == expected, f"{title}: {name} is in {figure.unit}"
        assert all(map(math.isfinite, (figure.low, figure.likely, figure.high)))


def test_what_is_published_or_standard_names_a_source_that_is_more_than_a_shrug():
    for title, name, figure in every_figure():
        if figure.basis in (Basis.STANDARD, Basis.PUBLISHED):
            assert not figure.source.startswith("no "), f"{title}: {name}"


def test_no_packaged_material_is_calibrated():
    # A stop may rest on calibrated figures only, and nobody has calibrated a class of materials.
    assert not [name for _, name, figure in every_figure() if figure.calibrated]


def test_ratios_are_ratios_and_not_per_cent():
    for title, name, figure in every_figure():
        if name.startswith("shrink"):
            assert -0.1 < figure.low <= figure.high < 0.1, f"{title}: {name}"


def test_a_shorter_pixel_never_spreads_light_further():
    printers = sorted(catalogue("printer").values(), key=lambda p: p.pixel_x_mm.likely)
    blurs = [p.blur_mm.likely for p in printers]
    assert blurs == sorted(blurs)


@pytest.mark.parametrize("key", sorted(GOOD))
def test_a_figure_with_a_key_missing_is_refused(key):
    with pytest.raises(InputError, match="a figure has the keys"):
        figure_from({k: v for k, v in GOOD.items() if k != key}, where="here")


def test_a_figure_with_an_unknown_key_or_basis_or_order_is_refused():
    with pytest.raises(InputError, match="a figure has the keys"):
        figure_from({**GOOD, "comment": "x"}, where="here")
    with pytest.raises(InputError, match="basis 'hearsay' is not known"):
        figure_from({**GOOD, "basis": "hearsay"}, where="here")
    with pytest.raises(InputError, match="not in order"):
        figure_from({**GOOD, "low": 9}, where="here")


def test_overriding_makes_the_figure_the_makers_own():
    old = figure_from(GOOD, where="here")
    assert override_figure(old, 2.5, where="h") == Range(2.5, 2.5, 2.5, "mm", Basis.MAKER, "the job file")
    new = override_figure(old, {"likely": 2.5, "high": 4}, where="h")
    assert (new.low, new.likely, new.high, new.calibrated) == (2.5, 2.5, 4.0, True)


@pytest.mark.parametrize(
    "value",
    [
        "2",
        True,
        None,
        [1, 2, 3],
        {"low": 1},
        {"likely": 1, "low": 2},
        {"likely": 1, "mid": 2},
        math.nan,
        math.inf,
        {"likely": True},
        {"likely": math.nan},
        {"likely": "1"},
    ],
)
def test_what_is_no_figure_is_refused_as_override(value):
    with pytest.raises(InputError, match="is no figure"):
        override_figure(figure_from(GOOD, where="here"), value, where="here")


@given(st.floats(-1e6, 1e6), st.floats(0, 1e3), st.floats(0, 1e3))
def test_an_override_keeps_its_three_numbers(likely, below, above):
    table = {"low": likely - below, "likely": likely, "high": likely + above}
    new = override_figure(figure_from(GOOD, where="here"), table, where="here")
    assert (new.low, new.likely, new.high) == (likely - below, likely, likely + above)


def test_a_record_takes_overrides_of_figures_words_and_flags():
    resin = choose("resin", "tough")
    new = overridden(resin, {"shrink_z_ratio": 0.001, "inhibits_addition_cure": False}, where="resin")
    assert new.shrink_z_ratio.likely == 0.001
    assert new.inhibits_addition_cure is False
    assert new.shrink_xy_ratio == resin.shrink_xy_ratio
    assert (
        overridden(choose("mould", "tin-silicone-30a"), {"chemistry": "addition"}, where="m").chemistry
        == "addition"
    )


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"shrink_xx_ratio": 1}, "Did you mean 'shrink_xy_ratio'"),
        ({"title": "mine"}, "no figure 'title'"),
        ({"inhibits_addition_cure": 1}, "Give true or false"),
        ({"density_g_cm3": "heavy"}, "is no figure"),
    ],
)
def test_a_record_refuses_what_it_does_not_have(values, says):
    with pytest.raises(InputError, match=says):
        overridden(choose("resin", "tough"), values, where="resin")


def test_a_word_of_the_wrong_kind_is_refused():
    with pytest.raises(InputError, match="Give a word in quotes"):
        overridden(choose("mould", "tin-silicone-30a"), {"chemistry": 3}, where="m")


def test_choosing_what_is_not_there_names_the_nearest():
    with pytest.raises(InputError, match=r"no cast 'tin-leadfree'. Did you mean 'tin-lead-free'"):
        choose("cast", "tin-leadfree")
    with pytest.raises(InputError, match="Use one of: airbrushed, brushed, none, primer"):
        choose("paint", "xyz")


def test_nearest_word_of_nothing_says_so():
    assert nearest_word("a", []) == "There is nothing to choose from."


def test_the_film_is_primer_and_coats():
    paint = choose("paint", "brushed")
    assert paint.film_mm.likely == pytest.approx(0.022 + 3 * 0.015)
    assert paint.film_mm.low == pytest.approx(0.015 + 2 * 0.008)
    assert choose("paint", "none").film_mm.high == 0.0


def test_every_kind_has_materials_that_exist():
    for kind in ProcessKind:
        data = kind_of(kind)
        assert data.mould in catalogue("mould")
        assert data.cast in catalogue("cast")
    assert set(read_data("kinds")) == {kind.value for kind in ProcessKind}
