from firstcast.process.run_time import BOTTOM_EXPOSURE_S, EXPOSURE_S, LIFT_S, run_seconds
from firstcast.vocabulary import Basis


def test_given_seconds_are_added_up():
    seconds = run_seconds(1000, 5, exposure_s=2.0, bottom_exposure_s=30.0, lift_s=6.0)
    assert seconds.likely == 995 * 2.0 + 5 * 30.0 + 1000 * 6.0
    assert seconds.low == seconds.high == seconds.likely
    assert seconds.basis is Basis.MAKER


def test_what_is_missing_makes_it_a_wide_default():
    seconds = run_seconds(1000, 5, exposure_s=2.0)
    assert seconds.low == 995 * 2.0 + 5 * BOTTOM_EXPOSURE_S.low + 1000 * LIFT_S.low
    assert seconds.high == 995 * 2.0 + 5 * BOTTOM_EXPOSURE_S.high + 1000 * LIFT_S.high
    assert seconds.basis is Basis.DEFAULT


def test_a_run_of_few_layers_has_no_more_bottom_layers():
    assert run_seconds(3, 5, bottom_exposure_s=10.0, lift_s=1.0).likely == 33.0
    assert run_seconds(3, 0, lift_s=0.5).likely == 3 * (EXPOSURE_S.likely + 0.5)
