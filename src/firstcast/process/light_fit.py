"""Dp, cure depth and spread from bridges and lines: least squares, and intervals by profile likelihood.

Errors are taken for normal, independent and known, so least squares is maximum likelihood. The interval of a figure
holds its values for which the best chi² with it held there is within 2.706 of the least, the 90 % point of chi² with one
degree of freedom (S. S. Wilks, 1938). It needs no straight line through the formulas, as a covariance would.

Unknowns are logarithms of Dp, Cd and σ, so that ln(E0 / Ec) = Cd / Dp is a straight direction among them.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy.optimize import least_squares

from firstcast.gauge_design import GaugeKind
from firstcast.process.gauge import (
    WIDTH_KINDS,
    Gauge,
    Light,
    Lines,
    Reading,
    bridge_mm,
    dose_inside,
    line_response,
    line_widths,
    spread_of,
)
from firstcast.process.spread import Values

CHI2_90 = 2.705543454095404
BOUNDS = (Light(0.005, 0.01, 0.001), Light(2.0, 2.0, 0.4))
"""No photopolymer or screen lies beyond: an interval that reaches there is open."""

_FAR = -60.0
"""A bridge that does not cure, told to the fit as one that is far too thin: 60 mm."""
_STEP = 1e-5
_STARTS = (Light(0.05, 0.12, 0.02), Light(0.1, 0.12, 0.02), Light(0.2, 0.2, 0.03), Light(0.3, 0.35, 0.01))


class LightModel:
    """The rows that tell of light, and what a light would make of them.

    `scales`: by axis, the size that everything comes out at; 1 where none is known.
    """

    def __init__(self, gauge: Gauge, scales: Mapping[str, float], *, heavy_tails: bool = False) -> None:
        self.gauge, self.heavy_tails = gauge, heavy_tails
        self.bridges = gauge.of(GaugeKind.BRIDGE)
        self.scale_z = scales.get("z", 1.0)
        self.axes = [
            (axis, rows, Lines.of(rows), pixel, scales.get(axis, 1.0))
            for axis, pixel in zip("xy", gauge.pixel_mm, strict=True)
            if (rows := gauge.of(*WIDTH_KINDS, axis=axis))
        ]
        self.rows: tuple[Reading, ...] = (*self.bridges, *(r for _, rows, *_ in self.axes for r in rows))
        self.measured = np.array([reading.measured_mm for reading in self.rows])
        self.sd = np.array([reading.sd_mm for reading in self.rows])
        self.unknowns = 3 if self.axes else 2

    def predicted(self, logs: Values) -> Values:
        """(n,) mm: what the rows should measure."""
        return self._lengths_and_slopes(logs)[0]

    def misfits(self, logs: Values) -> tuple[Values, Values]:
        """(n,) misfits in standard deviations, and (n, k) how they change with the unknowns."""
        predicted, slopes = self._lengths_and_slopes(logs)
        return (predicted - self.measured) / self.sd, slopes / self.sd[:, None]

    def _lengths_and_slopes(self, logs: Values) -> tuple[Values, Values]:
        light = self.light(logs)
        moved = [
            [self.light(logs + sign * _STEP * np.eye(len(logs))[k]) for sign in (-1.0, 1.0)]
            for k in range(len(logs))
        ]
        lengths = [self.scale_z * self._bridge_widths(light)]
        slopes = [
            self.scale_z
            * np.column_stack([np.subtract(*map(self._bridge_widths, pair[::-1])) for pair in moved])
            / (2 * _STEP)
        ]
        dose = self._dose(light)
        for _, _, lines, pixel, scale in self.axes:
            how = {"pixel_mm": pixel, "grey_edges": self.gauge.grey_edges}
            widths, steep = line_widths(lines, spread_of(light.blur_mm, self.heavy_tails), dose, **how)
            lengths.append(scale * widths)
            columns = []
            for pair in moved:
                before, after = (
                    line_response(
                        lines, spread_of(at.blur_mm, self.heavy_tails), self._dose(at), widths, **how
                    )
                    for at in pair
                )
                columns.append(scale * steep * (after - before) / (2 * _STEP))
            slopes.append(np.column_stack(columns))
        return np.concatenate(lengths), np.concatenate(slopes)

    def light(self, logs: Values) -> Light:
        """The light that some unknowns name; without lines there is no spread among them."""
        depth, cured, *blur = np.exp(logs)
        return Light(float(depth), float(cured), float(blur[0]) if blur else 0.0)

    def logs(self, light: Light) -> Values:
        """The unknowns of a light."""
        return np.log(np.array(light)[: self.unknowns])

    def _dose(self, light: Light) -> float:
        # Just above critical is as weak as the formulas of edges can be asked for.
        return max(dose_inside(light, self.gauge.layer_mm, self.gauge.relief_layers), 1.0 + 1e-9)

    def _bridge_widths(self, light: Light) -> Values:
        widths = [bridge_mm(light, self.gauge.layer_mm, reading.count) for reading in self.bridges]
        return np.array([width if width > 0 else _FAR for width in widths])


class Ends(NamedTuple):
    """An interval; -inf or inf where the data leave it open."""

    low: float
    best: float
    high: float


@dataclass(frozen=True)
class LightFit:
    """The best light. `covariance` (k, k) is of the unknowns' logarithms; None if some can't be told at all."""

    model: LightModel
    logs: Values
    chi2: float
    covariance: Values | None

    @property
    def light(self) -> Light:
        """Dp, Cd and σ, mm."""
        return self.model.light(self.logs)

    @property
    def spare(self) -> int:
        """Rows beyond those that the unknowns need."""
        return len(self.model.rows) - self.model.unknowns

    def interval(self, direction: tuple[float, ...], *, widened: float = 1.0) -> Ends:
        """90 % interval, by profile likelihood, of the unknowns' sum weighted by `direction`; as a logarithm.

        `widened`: by what the readings' errors are multiplied first.
        """
        weights = np.array(direction, dtype=np.float64)
        best = float(weights @ self.logs)
        if self.covariance is None:
            return Ends(-math.inf, best, math.inf)
        low, high = (self._end(weights, side, CHI2_90 * widened**2) for side in (-1.0, 1.0))
        return Ends(low, best, high)

    def _end(self, weights: Values, side: float, rise: float) -> float:
        """Where the profile has risen by `rise`: it is near a parabola, so its root is near a straight line."""
        assert self.covariance is not None
        spread = float(weights @ self.covariance @ weights)
        path = self.covariance @ weights / spread
        best = float(weights @ self.logs)
        away = side * math.sqrt(rise * spread)
        logs = self.logs
        for _ in range(12):
            logs = self.logs + path * away
            if not self._within(logs):
                return side * math.inf
            logs, chi2 = self._held(weights, logs)
            risen = max(chi2 - self.chi2, 1e-6 * rise)
            if abs(risen / rise - 1.0) < 0.01:
                return best + away
            path = (logs - self.logs) / away
            away *= min(2.0, max(0.5, math.sqrt(rise / risen)))
        return best + away if risen > 0.5 * rise else side * math.inf

    def _held(self, weights: Values, logs: Values) -> tuple[Values, float]:
        """Least chi² among the unknowns with the weighted sum held: Gauss and Newton in the plane across it."""
        across = np.linalg.svd(weights[None, :])[2][1:].T
        misfits, slopes = self.model.misfits(logs)
        chi2 = float(misfits @ misfits)
        for _ in range(8):
            step = across @ np.linalg.lstsq(slopes @ across, -misfits, rcond=None)[0]
            step *= min(1.0, 0.5 / max(float(np.abs(step).max()), 1e-12))
            for _ in range(5):
                trial = self.model.misfits(logs + step)
                if float(trial[0] @ trial[0]) < chi2:
                    break
                step = 0.25 * step
            else:
                break
            gained = chi2 - float(trial[0] @ trial[0])
            logs, (misfits, slopes), chi2 = logs + step, trial, chi2 - gained
            if gained < 1e-3:
                break
        return logs, chi2

    def _within(self, logs: Values) -> bool:
        low, high = (self.model.logs(bound) for bound in BOUNDS)
        return bool((logs > low).all() and (logs < high).all())


def fit_light(model: LightModel) -> LightFit:
    """The best light for some rows: scipy's trust-region least squares from several starts, the best of them kept."""
    low, high = (model.logs(bound) for bound in BOUNDS)
    found = None
    # Misfits come with their slopes, which scipy asks for apart: the last ones are kept.
    last: list[tuple[bytes, tuple[Values, Values]]] = [(b"", model.misfits(model.logs(_STARTS[0])))]

    def both(logs: Values) -> tuple[Values, Values]:
        if last[0][0] != logs.tobytes():
            last[0] = (logs.tobytes(), model.misfits(logs))
        return last[0][1]

    for start in _STARTS:
        trial = least_squares(
            lambda logs: both(logs)[0],
            model.logs(start),
            jac=lambda logs: both(logs)[1],  # pyright: ignore[reportArgumentType]
            bounds=(low, high),
            xtol=1e-9,
            ftol=1e-9,
        )
        if found is None or trial.cost < found.cost - 1e-9:
            found = trial
    assert found is not None
    slopes = model.misfits(found.x)[1]
    values = np.linalg.svd(slopes, compute_uv=False)
    # Below a hundred-thousandth of the best told direction, a direction is told by rounding alone.
    told = len(slopes) >= model.unknowns and values[-1] > 1e-5 * values[0]
    covariance = np.asarray(np.linalg.inv(slopes.T @ slopes), dtype=np.float64) if told else None
    return LightFit(model, found.x, 2.0 * float(found.cost), covariance)
