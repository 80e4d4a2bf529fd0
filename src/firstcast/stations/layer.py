"""The layer station: what a run's layers come to, before their images are written."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from firstcast.findings import Measure
from firstcast.printing.layer_measures import RunMeasures, layer_table, measure_run
from firstcast.printing.layer_plan import LayerPlan, Screen, plan_layers
from firstcast.printing.propped import Propped
from firstcast.printing.run import Run
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.process.run_time import run_seconds
from firstcast.process.strength import separation_load_n
from firstcast.ranges import SCENARIOS, Range
from firstcast.stations.contract import StationResult
from firstcast.stations.layer_findings import Cup, cup_of, findings_of
from firstcast.stations.layer_settings import Settings
from firstcast.vocabulary import Basis

SUCTION_KPA = Range(5.0, 50.0, 101.325, "kPa", Basis.DEFAULT, "no source but the upper end: one atmosphere")


@dataclass(frozen=True, kw_only=True)
class Layered(StationResult):
    """What layer gives, for the whole run.

    Attributes
    ----------
    run : str
    screen : Screen
    layer_mm : float
    area_mm2 : (n,) float64
        Cured area of each layer: the sum of its pixels' shares.
    regions : (n,) int32
        Of cured pixels that touch by edge or corner.
    largest_mm2 : (n,) float64
        The largest region.
    closed_mm2 : (n,) float64
        Area of hollows that the film closes.
    peel_n : (3, n) float64
        What parts each layer from the film, low, likely, high: separation stress times area.
    resin_mm3 : float
        Of pieces and props; what stays in the vat and drips off comes on top.
    cups : tuple of Cup
        Those of `cup_mm3` or more, once per master.
    seconds : Range
    costs : tuple of (what, amount, currency)
        Only what the maker's own prices tell.
    given : tuple of (name, value)
        The printer's settings as far as the job gives them.
    """

    run: str
    screen: Screen
    layer_mm: float
    area_mm2: npt.NDArray[np.float64]
    regions: npt.NDArray[np.int32]
    largest_mm2: npt.NDArray[np.float64]
    closed_mm2: npt.NDArray[np.float64]
    peel_n: npt.NDArray[np.float64]
    resin_mm3: float
    cups: tuple[Cup, ...]
    seconds: Range
    costs: tuple[tuple[str, float, str], ...]
    printer: str
    resin: str
    given: tuple[tuple[str, float], ...]

    def table(self) -> list[dict[str, Any]]:
        """A row per layer, as the manifest of the images has it."""
        return layer_table(
            self.area_mm2, self.regions, self.largest_mm2, self.closed_mm2, self.peel_n, self.layer_mm
        )

    def facts(self) -> dict[str, Any]:
        """What the manifest says beside the images: printer and resin, and settings only where the job gives them."""
        return {
            "printer": self.printer,
            "resin": self.resin,
            "resin_mm3": round(self.resin_mm3, 3),
            "seconds": [self.seconds.low, self.seconds.likely, self.seconds.high],
            "given": dict(self.given),
        }


def layer(
    *,
    run: Run,
    propped: tuple[tuple[str, Propped], ...],
    to_master: tuple[tuple[str, npt.NDArray[np.float64]], ...] = (),
    limits: Limits,
    materials: Materials,
    settings: Settings,
) -> Layered:
    """Measure the images of a run's layers: areas, regions, peel, resin, cups, bare starts, time and cost.

    Parameters
    ----------
    run : Run
    propped : tuple of (master, Propped)
        All masters of the run; others are left alone.
    to_master : tuple of (master, (3, 3) float64)
        From the figure to each master, so that findings say their place in the figure; where it is missing they say it
        in the master's own axes.

    Raises
    ------
    InputError
        The run is empty or names a master that isn't there, or a copy reaches out of what the printer builds.

    Notes
    -----
    Each distinct cut is measured once and counted as often as it stands on the platform.
    """
    plan = plan_of(run, propped, limits, materials, settings)
    measured = measure_run(plan, least_pixels=settings.bare_start_pixels, within=settings.joins_within)
    stress = materials.printer.separation_stress_kpa
    peel = np.array([separation_load_n(stress.scenario(at), 1.0) * measured.area_mm2 for at in SCENARIOS])
    layer_mm = plan.layers.layer_mm
    resin = float(measured.area_mm2.sum()) * layer_mm
    seconds = run_seconds(
        plan.layers.count,
        settings.bottom_layers,
        exposure_s=settings.exposure_s,
        bottom_exposure_s=settings.bottom_exposure_s,
        lift_s=settings.lift_s,
    )
    costs = _costs(resin, seconds, settings)
    cups = _cups(plan, measured, settings.cup_mm3)
    findings = findings_of(
        plan,
        list(measured.cuts),
        cups,
        dict(propped),
        dict(to_master),
        SUCTION_KPA,
        stress,
        settings.joins_within,
    )
    return Layered(
        run=run.name,
        screen=plan.screen,
        layer_mm=layer_mm,
        area_mm2=measured.area_mm2,
        regions=measured.regions,
        largest_mm2=measured.largest_mm2,
        closed_mm2=measured.closed_mm2,
        peel_n=peel,
        resin_mm3=resin,
        cups=cups,
        seconds=seconds,
        costs=costs,
        printer=materials.printer.key,
        resin=materials.resin.key,
        given=_given(settings),
        says=f"'{run.name}': {len(run.placements)} on the platform, {plan.layers.count} layers of {layer_mm:g} mm, "
        f"{resin / 1e3:.1f} ml of resin, {_hours(seconds)}",
        findings=findings,
        measures=_measures(plan, measured, resin, seconds, peel, costs),
    )


def plan_of(
    run: Run,
    propped: tuple[tuple[str, Propped], ...],
    limits: Limits,
    materials: Materials,
    settings: Settings,
) -> LayerPlan:
    """The plan of a run's images on this printer, as the station measures them and as they are to be written."""
    printer = materials.printer
    nx, ny = (
        int(build.likely / pixel + 1e-6)
        for build, pixel in zip((printer.build_x_mm, printer.build_y_mm), limits.pixel_mm, strict=True)
    )
    screen = Screen(nx, ny, *limits.pixel_mm, mirrored=settings.mirrored)
    return plan_layers(
        run, dict(propped), screen, layer_mm=limits.layer_mm, build_z_mm=printer.build_z_mm.likely
    )


def _cups(plan: LayerPlan, measured: RunMeasures, least_mm3: float) -> tuple[Cup, ...]:
    """Cups of so many mm³ or more, of the first cut of each master."""
    first: dict[str, int] = {}
    for number, cut in enumerate(plan.cuts):
        first.setdefault(cut.master, number)
    cups = [cup_of(plan, number, cup) for number in first.values() for cup in measured.cuts[number].cups]
    return tuple(cup for cup in cups if cup.volume_mm3 >= least_mm3)


def _costs(resin_mm3: float, seconds: Range, settings: Settings) -> tuple[tuple[str, float, str], ...]:
    costs = []
    if settings.resin_price_per_litre is not None:
        costs.append(("resin", settings.resin_price_per_litre * resin_mm3 * 1e-6, settings.currency))
    if settings.machine_rate_per_hour is not None:
        costs.append(("machine", settings.machine_rate_per_hour * seconds.likely / 3600.0, settings.currency))
    return tuple(costs)


def _given(settings: Settings) -> tuple[tuple[str, float], ...]:
    named = {
        "exposure_s": settings.exposure_s,
        "bottom_exposure_s": settings.bottom_exposure_s,
        "lift_s": settings.lift_s,
    }
    given = [(name, value) for name, value in named.items() if value is not None]
    if settings.bottom_exposure_s is not None:
        given.append(("bottom_layers", float(settings.bottom_layers)))
    return tuple(given)


def _hours(seconds: Range) -> str:
    if seconds.low == seconds.high:
        return f"{seconds.likely / 3600:.1f} h"
    return (
        f"{seconds.likely / 3600:.1f} h ({seconds.low / 3600:.1f} to {seconds.high / 3600:.1f}: give the printer's own "
        "seconds in [layer])"
    )


def _measures(
    plan: LayerPlan,
    measured: RunMeasures,
    resin_mm3: float,
    seconds: Range,
    peel_n: npt.NDArray[np.float64],
    costs: tuple[tuple[str, float, str], ...],
) -> tuple[Measure, ...]:
    top = int(peel_n[1].argmax())
    return (
        Measure("layers", float(plan.layers.count), "count", f"of {plan.layers.layer_mm:g} mm"),
        Measure("resin", resin_mm3 / 1e3, "ml", "pieces and props; what drips off comes on top"),
        Measure("time", seconds.likely / 3600.0, "h", str(seconds)),
        Measure(
            "greatest peel",
            float(peel_n[1, top]),
            "N",
            f"of the whole platform in layer {top}; {peel_n[0, top]:.1f} to {peel_n[2, top]:.1f} N",
        ),
        Measure("bare starts", float(measured.starts), "count", "regions that begin with nothing under them"),
        Measure("flecks", float(measured.flecks), "count", "too small to cure, with nothing under them"),
        *(
            Measure(f"cost of {what}", amount, currency, "by the job's own price")
            for what, amount, currency in costs
        ),
    )
