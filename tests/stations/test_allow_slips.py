"""A per cent written for a ratio: the allow station notices it before a master is twice too large."""

import numpy as np
import pytest

from firstcast.process.materials import catalogue
from firstcast.process.shrink import even_step
from firstcast.ranges import Range
from firstcast.stations import plan
from firstcast.stations.allow import LARGEST_STEP_RATIO, Settings, allow
from firstcast.vocabulary import Basis, Verdict

USUAL = even_step("print", "print", Range(0.002, 0.005, 0.008, "ratio", Basis.MEMORY))


def found(*steps):
    result = allow(piece="body", size_steps=(USUAL, *steps), extents_mm=(20, 15, 54), settings=Settings())
    return {finding.code: finding for finding in result.findings}


@pytest.mark.parametrize(("basis", "verdict"), [(Basis.MAKER, Verdict.STOP), (Basis.MEMORY, Verdict.WATCH)])
def test_a_step_of_half_is_told_with_what_was_likely_meant(basis, verdict):
    slip = even_step("cast in alloy", "cast", Range(0.4, 0.5, 0.5, "ratio", basis))
    finding = found(slip)["large-step"]
    assert (finding.verdict, finding.measured, finding.limit) == (verdict, 0.5, LARGEST_STEP_RATIO)
    assert finding.says.startswith("'cast in alloy' is to change the size by 50 %")
    assert "0.5 % is 0.005" in finding.mend


def test_growth_counts_too_and_others_allowances_do_not():
    growth = even_step("mould warm", "warmth", Range(-0.3, -0.2, 0.0, "ratio", Basis.MAKER))
    assert set(found(growth)) == {"large-step"}
    theirs = even_step("cast", "cast", Range(0.4, 0.5, 0.5, "ratio", Basis.MAKER), "caster")
    assert found(theirs) == {}
    assert found() == {}


def test_the_slip_is_noticed_from_the_job_file_on():
    settings = plan.Settings.model_validate({"override": {"resin": {"shrink_xy_ratio": 0.5}}})
    steps = plan.plan(summaries=(), pieces=(), settings=settings).size_steps
    result = allow(piece="body", size_steps=steps, extents_mm=np.ones(3), settings=Settings())
    assert [f.verdict for f in result.findings if f.code == "large-step"] == [Verdict.STOP]


FIGURES = [
    ("resin", "shrink_xy_ratio"),
    ("resin", "shrink_z_ratio"),
    ("mould", "shrink_ratio"),
    ("cast", "shrink_ratio"),
]


@pytest.mark.parametrize(("word", "name"), FIGURES)
def test_no_class_of_ours_comes_near_a_slip(word, name):
    ratios = [getattr(record, name) for record in catalogue(word).values()]
    assert 2 * max(abs(end) for ratio in ratios for end in (ratio.low, ratio.high)) < LARGEST_STEP_RATIO
