"""How long a run takes: seconds of light per layer and of what is done between layers."""

import numpy as np

from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import Basis

NO_SOURCE = "no source: what the maker's printer is set to is what counts"
EXPOSURE_S = Range(1.2, 2.5, 6.0, "s", Basis.DEFAULT, NO_SOURCE)
BOTTOM_EXPOSURE_S = Range(15.0, 30.0, 60.0, "s", Basis.DEFAULT, NO_SOURCE)
LIFT_S = Range(3.0, 7.0, 15.0, "s", Basis.DEFAULT, NO_SOURCE)


def run_seconds(
    layers: int,
    bottom_layers: int,
    *,
    exposure_s: float | None = None,
    bottom_exposure_s: float | None = None,
    lift_s: float | None = None,
) -> Range:
    """Seconds of a run: its first layers are exposed longer, each one is lifted.

    What isn't given is taken from wide defaults, and the result then says so.
    """
    bottom = min(bottom_layers, layers)
    known = True
    parts = []
    for given, default, times in (
        (exposure_s, EXPOSURE_S, layers - bottom),
        (bottom_exposure_s, BOTTOM_EXPOSURE_S, bottom),
        (lift_s, LIFT_S, layers),
    ):
        known = known and (given is not None or times == 0)
        figure = default if given is None else Range.exactly(given, "s")
        parts.append([times * figure.scenario(at) for at in SCENARIOS])
    low, likely, high = np.sum(parts, axis=0).tolist()
    if known:
        return Range(low, likely, high, "s", Basis.MAKER, "the job's seconds")
    return Range(low, likely, high, "s", Basis.DEFAULT, NO_SOURCE)
