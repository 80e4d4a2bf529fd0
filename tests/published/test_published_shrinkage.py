"""Published and computed values of shrinkage: definition, traps, chains, allowances, tolerance grades."""

import math

import numpy as np
import pytest

from firstcast.errors import InputError
from firstcast.gauge_design import GaugeKind
from firstcast.process.gauge import Reading
from firstcast.process.grades import casting_tolerance_mm
from firstcast.process.materials import choose
from firstcast.process.shrink import (
    cavity_from_part,
    chain_matrix,
    even_step,
    part_from_cavity,
    write_out,
)
from firstcast.process.size_fit import fit_line
from firstcast.ranges import Range


def chain_of(*ratios):
    return [even_step(f"step {n}", "cast", Range.exactly(s, "ratio")) for n, s in enumerate(ratios)]


def test_the_standard_definition_divides():
    # ISO 294-4 and ISO 2577 (from memory, high confidence): S = (mould - part) / mould.
    # 100 mm at 2 % wants a cavity of 102.0408 mm; 102.000 is the classic slip.
    assert cavity_from_part(100.0, 0.02) == pytest.approx(102.0408, abs=5e-5)
    assert part_from_cavity(102.0408, 0.02) == pytest.approx(100.0, abs=5e-5)
    assert chain_matrix(chain_of(0.02))[0, 0] * 100 == pytest.approx(102.0408, abs=5e-5)


def test_the_pattern_supply_pages_trap():
    # A pattern-supply page says to multiply nominals by 11.75/12; right is 12/11.75 = 1.021277.
    quarter_inch_per_foot = 0.25 / 12
    factor = cavity_from_part(1.0, quarter_inch_per_foot)
    assert factor == pytest.approx(1.021277, abs=5e-7)
    assert factor > 1 > 11.75 / 12


def test_the_chain_of_a_54_mm_figure():
    # 0.3 %, 0.1 %, 0.5 %: scale 1.0090583, 54.4891 mm (computed from the definition).
    chain = chain_of(0.003, 0.001, 0.005)
    assert chain_matrix(chain)[2, 2] == pytest.approx(1.0090583, abs=5e-8)
    assert write_out(chain, 54.0)[-1].after_mm == pytest.approx(54.4891, abs=5e-5)


@pytest.mark.parametrize(
    ("inches_per_foot", "per_cent"),
    [
        (3 / 32, 0.7813),
        (1 / 8, 1.0417),
        (3 / 16, 1.5625),
        (7 / 32, 1.8229),
        (1 / 4, 2.0833),
        (5 / 16, 2.6042),
    ],
)
def test_pattern_allowances_as_arithmetic(inches_per_foot, per_cent):
    # Handbook tables (Dooley, Applied Science for Metal Workers; a patternmaker's supply table), f / 12 of
    # the pattern. They are for sand castings: arithmetic only, no figure of ours comes from them.
    ratio = inches_per_foot / 12
    assert 100 * ratio == pytest.approx(per_cent, abs=5e-5)
    assert part_from_cavity(12.0, ratio) == pytest.approx(12.0 - inches_per_foot)
    assert chain_matrix(chain_of(ratio))[0, 0] == pytest.approx(12.0 / (12.0 - inches_per_foot))


@pytest.mark.parametrize(
    ("key", "per_cent"), [("tin-lead-free", 0.466), ("lead-bearing", 0.890), ("zinc", 1.208)]
)
def test_alloys_hold_the_contraction_of_their_solid_metal(key, per_cent):
    # From the melting point to the room (expansion coefficients from memory, high confidence).
    shrink = choose("cast", key).shrink_ratio
    assert shrink.low <= per_cent / 100 <= shrink.high


@pytest.mark.parametrize(
    ("word", "key", "field", "low", "high"),
    [
        # Misumi technical tables, per cent.
        ("cast", "abs", "shrink_ratio", 0.4, 0.9),
        ("cast", "polystyrene", "shrink_ratio", 0.4, 0.7),
        # From memory, medium confidence.
        ("cast", "polyurethane", "shrink_ratio", 0.1, 1.0),
        ("resin", "standard", "shrink_xy_ratio", 0.2, 1.0),
        # Suppliers say from below 0.03 to 1.2; from memory 0.2 to 0.5.
        ("mould", "tin-silicone-30a", "shrink_ratio", 0.03, 1.2),
        # From memory, high confidence: below 0.1.
        ("mould", "addition-silicone-30a", "shrink_ratio", 0.0, 0.1),
        # Suppliers quote 0 to 4.
        ("mould", "vulcanised-rubber", "shrink_ratio", 0.0, 4.0),
    ],
)
def test_shipped_ranges_are_those_of_their_sources(word, key, field, low, high):
    figure = getattr(choose(word, key), field)
    assert (100 * figure.low, 100 * figure.high) == pytest.approx((low, high))


def test_a_published_cube_is_inside_the_printing_range():
    # A 35 mm cube printed 34.8 mm, 0.571 % (J. Mrázek 2022).
    shrink = choose("resin", "standard").shrink_xy_ratio
    assert pytest.approx(0.00571, abs=5e-6) == 1 - 34.8 / 35
    assert shrink.low < 1 - 34.8 / 35 < shrink.high


def test_warm_silicone_grows_by_over_one_per_cent_in_fifty_degrees():
    # 0.025 to 0.03 % per degree (from memory).
    expansion = choose("mould", "addition-silicone-30a").expansion_per_degC
    assert (expansion.low, expansion.high) == pytest.approx((0.00025, 0.0003))
    assert 50 * expansion.low > 0.01
    grown = chain_matrix(chain_of(-50 * expansion.likely))
    assert grown[0, 0] == pytest.approx(1 / (1 + 50 * expansion.likely))


def test_the_two_parameter_fit():
    # L = S N + o: 10 -> 9.99 and 35 -> 34.84 give S = 0.994, o = 0.05 mm (computed).
    pairs = ((10.0, 9.99), (35.0, 34.84))
    fit = fit_line([Reading("", GaugeKind.LENGTH, "x", 1, n, measured, 0.01) for n, measured in pairs])
    assert (fit.scale, fit.offset_mm) == pytest.approx((0.994, 0.05))
    # One-parameter fits would blame size for what is offset: 9.99 alone says 0.1 %, 34.84 says 0.46 %.
    assert not math.isclose(1 - 9.99 / 10, 1 - 34.84 / 35, rel_tol=0.5)


# ISO 8062-3:2007, table 2, linear dimensions: total tolerance in mm by grade DCTG 1 to 10.
TOLERANCES_BY_LENGTH = {
    10: (0.09, 0.13, 0.18, 0.26, 0.36, 0.52, 0.74, 1.0, 1.5, 2.0),
    16: (0.10, 0.14, 0.20, 0.28, 0.38, 0.54, 0.78, 1.1, 1.6, 2.2),
    25: (0.11, 0.15, 0.22, 0.30, 0.42, 0.58, 0.82, 1.2, 1.7, 2.4),
    40: (0.12, 0.17, 0.24, 0.32, 0.46, 0.64, 0.90, 1.3, 1.8, 2.6),
    63: (0.13, 0.18, 0.26, 0.36, 0.50, 0.70, 1.0, 1.4, 2.0, 2.8),
    100: (0.14, 0.20, 0.28, 0.40, 0.56, 0.78, 1.1, 1.6, 2.2, 3.2),
    160: (0.15, 0.22, 0.30, 0.44, 0.62, 0.88, 1.2, 1.8, 2.5, 3.6),
}


@pytest.mark.parametrize("up_to_mm", TOLERANCES_BY_LENGTH)
@pytest.mark.parametrize("grade", range(1, 11))
def test_the_casting_tolerance_table(up_to_mm, grade):
    expected = TOLERANCES_BY_LENGTH[up_to_mm][grade - 1]
    lengths = list(TOLERANCES_BY_LENGTH)
    below = lengths[lengths.index(up_to_mm) - 1] if up_to_mm > 10 else 0.0
    for length_mm in (float(up_to_mm), np.nextafter(below, 999.0), (below + up_to_mm) / 2):
        assert casting_tolerance_mm(float(length_mm), grade) == expected


@pytest.mark.parametrize(
    ("length_mm", "grade", "says"),
    [
        (54.0, 0, "grade 0 is not in the table"),
        (54.0, 11, "grade 11"),
        (54.0, 2.5, r"grade 2\.5"),
        (0.0, 5, "0 mm is outside"),
        (-1.0, 5, "outside the table"),
        (160.1, 5, r"160\.1 mm is outside"),
        (math.nan, 5, "outside the table"),
    ],
)
def test_the_table_refuses_what_it_does_not_hold(length_mm, grade, says):
    with pytest.raises(InputError, match=says):
        casting_tolerance_mm(length_mm, grade)
