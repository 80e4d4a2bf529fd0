"""How many masters: back through moulds and generations, and spares by binomials, beside scipy's."""

from dataclasses import replace
from fractions import Fraction
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from firstcast.errors import InputError
from firstcast.process.counts import (
    USUAL_RECORD,
    Generation,
    Record,
    chance_after,
    chance_of_share,
    generations_of,
    masters_for,
    mouldings_of,
    planned,
    prints_for,
)
from firstcast.process.materials import choose
from firstcast.ranges import Range

EXACT = 1e-10
"""Logarithms of gamma functions of up to some hundreds keep ten digits and more."""

SILICONE, RUBBER = choose("mould", "addition-silicone-30a"), choose("mould", "vulcanised-rubber")


@pytest.mark.parametrize(
    ("prints", "share", "needed", "chance"),
    [
        # 1 - the cumulative terms of the tables of the binomial distribution that are printed in most textbooks of
        # statistics, to four digits: n 5, 10, 15, 20 (from memory, and summed by hand in `test_sum_by_hand`)
        (5, 0.9, 4, 0.9185),
        (5, 0.8, 4, 0.7373),
        (10, 0.9, 8, 0.9298),
        (10, 0.8, 8, 0.6778),
        (10, 0.5, 8, 0.0547),
        (15, 0.9, 13, 0.8159),
        (20, 0.9, 17, 0.8670),
    ],
)
def test_binomial_tables(prints, share, needed, chance):
    assert chance_of_share(prints, needed, share) == pytest.approx(chance, abs=5e-5)


def test_two_of_three_at_nine_in_ten():
    # 3 · 0.81 · 0.1 + 0.729
    assert chance_of_share(3, 2, 0.9) == pytest.approx(0.972, abs=EXACT)
    assert prints_for(2, 0.95, 0.9).prints == 3


@given(st.integers(1, 200), st.integers(0, 200), st.floats(0.01, 0.99))
def test_sum_by_hand(prints, needed, share):
    exact = Fraction(share)
    by_hand = sum(comb(prints, k) * exact**k * (1 - exact) ** (prints - k) for k in range(needed, prints + 1))
    assert chance_of_share(prints, needed, share) == pytest.approx(float(by_hand), abs=EXACT)
    assert chance_of_share(prints, needed, share) == pytest.approx(
        stats.binom.sf(needed - 1, prints, share), abs=EXACT
    )


@given(st.integers(1, 150), st.integers(0, 150), st.integers(0, 60), st.integers(0, 60))
def test_after_a_record(prints, needed, good, bad):
    theirs = stats.betabinom.sf(needed - 1, prints, good + 0.5, bad + 0.5)
    assert chance_after(prints, needed, Record(good, good + bad)) == pytest.approx(theirs, abs=1e-9)


def test_one_print_after_a_record():
    # the mean of Beta(9.5, 1.5)
    assert chance_after(1, 1, Record(9, 10)) == pytest.approx(9.5 / 11, abs=EXACT)


def test_a_long_record_is_a_known_share():
    # the beta's spread falls with the root of the record: some 0.0001 at nine million
    long = Record(9_000_000, 10_000_000)
    assert chance_after(12, 9, long) == pytest.approx(chance_of_share(12, 9, 0.9), abs=1e-5)


def test_a_small_record_asks_for_more():
    small, long = prints_for(4, 0.95, Record(9, 10)), prints_for(4, 0.95, Record(900, 1000))
    assert small.prints > long.prints
    assert long.prints == prints_for(4, 0.95, 0.9).prints == 6


def test_the_usual_record_is_as_wide_as_it_says():
    a, b = USUAL_RECORD.good + 0.5, USUAL_RECORD.tried - USUAL_RECORD.good + 0.5
    assert stats.beta.ppf([0.05, 0.95], a, b) == pytest.approx([0.44, 0.96], abs=0.005)


@given(st.integers(1, 60), st.floats(0.5, 0.99), st.floats(0.3, 0.99))
def test_fewest_prints(needed, chance, share):
    spares = prints_for(needed, chance, share)
    assert spares.prints >= needed
    assert spares.chance >= chance
    assert spares.prints == needed or chance_of_share(spares.prints - 1, needed, share) < chance
    assert spares.spares == spares.prints - needed


def test_sure_prints_need_no_spares():
    assert prints_for(7, 0.99, 1.0).prints == 7


@pytest.mark.parametrize("chance", [0.0, 1.0, -1.0, 2.0])
def test_no_chance(chance):
    with pytest.raises(InputError, match="more than 0 and less than 1"):
        prints_for(1, chance, 0.9)


def test_hopeless():
    with pytest.raises(InputError, match="too poor"):
        prints_for(1000, 0.95, 0.001)


@pytest.mark.parametrize("record", [(5, 4), (-1, 4)])
def test_no_record(record):
    with pytest.raises(InputError, match=r"\[good, tried\]"):
        Record(*record)


def test_one_block():
    (made,) = masters_for(200, (Generation("block", 25, 1),))
    assert (made.moulds, made.masters) == (8, 8)
    (made,) = masters_for(200, (Generation("block", 25, 3),))
    assert (made.moulds, made.masters) == (8, 3)


def test_a_disc_with_a_generation_of_metal():
    first, disc = masters_for(5000, (Generation("block", 25, 2), Generation("disc", 200, 5, 20)))
    # two discs of 20 cavities, each cavity 200 castings: 20 metal masters, from one block, from one print
    assert (disc.castings, disc.moulds, disc.masters) == (5000, 2, 20)
    assert (first.castings, first.moulds, first.masters) == (20, 1, 1)


def test_prints_are_the_product():
    assert masters_for(30, ()) == ()


def test_nothing_wanted():
    with pytest.raises(InputError, match="1 or more"):
        masters_for(0, ())


@given(st.integers(1, 5000), st.integers(1, 100), st.integers(1, 9), st.integers(1, 12))
def test_masters_do(wanted, pulls, mouldings, cavities):
    (made,) = masters_for(wanted, (Generation("block", pulls, mouldings, cavities),))
    assert (made.moulds - 1) * pulls * cavities < wanted <= made.moulds * pulls * cavities
    # dealt out in turn, no master comes twice into one mould, nor oftener than it bears
    used = [0] * made.masters
    for mould in range(made.moulds):
        cavity = [(mould * cavities + n) % made.masters for n in range(cavities)]
        assert len(set(cavity)) == cavities
        for master in cavity:
            used[master] += 1
    assert max(used) <= mouldings
    # one master fewer would be too few
    assert (made.masters - 1) < max(cavities, made.moulds * cavities / mouldings)


def test_figures_are_planned_on_at_their_low_end():
    assert planned(SILICONE.pulls) == 25
    assert planned(Range(0.2, 1.0, 2.0, "count")) == 1
    silicone, disc = generations_of((SILICONE, RUBBER), cavities=12)
    assert (silicone.pulls, silicone.cavities, disc.cavities) == (25, 1, 12)
    assert silicone.mouldings == planned(mouldings_of(SILICONE, printed=True))
    assert disc.mouldings == planned(mouldings_of(RUBBER, printed=False))


def test_the_makers_own_figures():
    first, last = generations_of((SILICONE, RUBBER), castings_per_mould=90, moulds_per_master=7)
    assert (first.mouldings, last.pulls) == (7, 90)
    assert first.pulls == 25


def test_hot_rubber_wears_prints_faster():
    assert mouldings_of(RUBBER, printed=True).low <= mouldings_of(SILICONE, printed=True).low
    assert not mouldings_of(SILICONE, printed=True).calibrated


def test_no_pulls():
    with pytest.raises(InputError, match="1 or more"):
        replace(Generation("block", 25, 2), pulls=0)


@given(st.integers(0, 60), st.integers(0, 60), st.sampled_from([0.5, 0.9, 0.99]))
def test_the_share_that_a_record_leaves(good, bad, chance):
    low, high = Record(good, good + bad).share(chance)
    theirs = stats.beta.ppf([(1 - chance) / 2, (1 + chance) / 2], good + 0.5, bad + 0.5)
    assert [low, high] == pytest.approx(theirs, abs=1e-9)


def test_spares_after_four_good_of_five():
    """What scipy's beta-binomial asks for, and what a record ten times as long does."""
    for needed, short, long in ((1, 3, 2), (2, 6, 4), (4, 10, 7), (8, 20, 14)):
        for record, prints in ((Record(4, 5), short), (Record(4, 5).times(10), long)):
            a, b = record.good + 0.5, record.tried - record.good + 0.5
            assert prints_for(needed, 0.95, record).prints == prints
            assert stats.betabinom.sf(needed - 1, prints, a, b) >= 0.95
            assert stats.betabinom.sf(needed - 1, prints - 1, a, b) < 0.95
