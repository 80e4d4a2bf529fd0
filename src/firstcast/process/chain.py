"""The figures that one forward run needs, from master to painted cast: mildest, likely, strongest.

A scenario takes every figure at the same end, so that `low` changes the figure least and `high` most:
no blur is wide while the film is thin. Sizes are those of the master; `mean_size_ratio` brings what happens
at the size of the cast, its paint, to them.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.process.filling import USUAL_SHOT, LeastFill, Shot, cast_fill, mould_fill, shot_of
from firstcast.process.films import NO_FILM, Film, paint_film, primer_film
from firstcast.process.light import edge_growth_mm, mean_overdose, overdose_ratio
from firstcast.process.limits import Limits
from firstcast.process.materials import Casting, Materials, Mould, Paint
from firstcast.process.spread import GaussianSpread, Spread, heavy_tailed_like
from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import ProcessKind

MOST_DEPTHS = 100.0
"""Cured depth over Dp beyond which a figure is a slip: an exposure of e^100 times critical does not exist."""


class GenerationRadii(NamedTuple):
    """What one mould and its casting round off: the radius by which the master's form is closed, then opened."""

    mould_mm: float
    cast_mm: float


@dataclass(frozen=True)
class ChainScenario:
    """All figures of one forward run.

    Attributes
    ----------
    prints : bool
        Whether there is a print; without one, spread, decay and pixels say nothing.
    pixel_mm : (float, float)
    layer_mm : float
    spread : GaussianSpread or LorentzianSpread
        Sideways spread of light at the resin.
    depth_mm : float
        Dp; 0: light ends with its layer, which cures to its own depth.
    overdose : float
        E0 / Ec of one layer.
    grey_edges : bool
        Whether a pixel shines by the share that is covered, or fully from half its area on.
    primer : Film
        On the master, before the first mould.
    generations : tuple of GenerationRadii
        In the order in which they happen; none where the print is the product.
    paint : Film
        On the cast, at the size of the cast.
    mean_size_ratio : float
        Size of the master over that of the cast: what a millimetre of the cast is on the master.
    uncalibrated : tuple of str
        The figures that are neither the maker's own nor fitted.
    """

    prints: bool
    pixel_mm: tuple[float, float]
    layer_mm: float
    spread: Spread
    depth_mm: float
    overdose: float
    grey_edges: bool
    primer: Film
    generations: tuple[GenerationRadii, ...]
    paint: Film
    mean_size_ratio: float = 1.0
    uncalibrated: tuple[str, ...] = ()

    @property
    def calibrated(self) -> bool:
        """Whether every figure is the maker's own or fitted, so that a `stop` may rest on the run."""
        return not self.uncalibrated

    @property
    def boxes(self) -> int:
        """By how many pixel boxes an edge is smeared, averaged over the grid's place (`spread.half_plane`)."""
        return 2 if self.grey_edges else 1

    @property
    def threshold(self) -> float:
        """Critical exposure over the dose deep inside the body, averaged over the layers' place."""
        dose = mean_overdose(self.overdose, layer_mm=self.layer_mm, depth_mm=self.depth_mm)
        return 1.0 / dose

    @property
    def edge_growth_mm(self) -> float:
        """How far an upright wall along the coarser pixel grows; 0 without a print."""
        if not self.prints:
            return 0.0
        return edge_growth_mm(self.spread, self.threshold, pixel_mm=max(self.pixel_mm), boxes=self.boxes)

    @property
    def balls(self) -> tuple[tuple[str, float], ...]:
        """What happens to the printed master, in order: "closed" or "opened" by a ball of so many millimetres."""
        steps = [("closed", self.primer.radius_mm)]
        for generation in self.generations:
            steps += [("closed", generation.mould_mm), ("opened", generation.cast_mm)]
        return (*steps, ("closed", self.paint_on_master.radius_mm))

    @property
    def paint_on_master(self) -> Film:
        """The paint's film in millimetres of the master."""
        size = self.mean_size_ratio
        return Film(self.paint.thickness_mm * size, self.paint.radius_mm * size, self.paint.calibrated)


def null_chain(pixel_mm: tuple[float, float], layer_mm: float, *, grey_edges: bool = True) -> ChainScenario:
    """A print that only draws pixels and layers: no spread, no decay, no film, nothing rounded.

    Critical is half the full dose, so that an edge stays where it is drawn.
    """
    return ChainScenario(
        prints=True,
        pixel_mm=pixel_mm,
        layer_mm=layer_mm,
        spread=GaussianSpread(0.0),
        depth_mm=0.0,
        overdose=2.0,
        grey_edges=grey_edges,
        primer=NO_FILM,
        generations=(),
        paint=NO_FILM,
    )


def mean_size(figure_to_master: npt.ArrayLike) -> float:
    """Mean ratio of length of a linear map, (3, 3): the cube root of its ratio of volumes."""
    return float(abs(np.linalg.det(np.asarray(figure_to_master, dtype=np.float64)))) ** (1.0 / 3.0)


def chain_scenarios(
    materials: Materials,
    limits: Limits,
    *,
    earlier: Sequence[tuple[Mould, Casting]] = (),
    shot: Shot | None = None,
    primer: Paint | None = None,
    heavy_tails: bool = False,
    grey_edges: bool = True,
    mean_size_ratio: float = 1.0,
) -> dict[str, ChainScenario]:
    """The chain as low (changes least), likely and high.

    Parameters
    ----------
    limits : Limits
        The kind of process, pixel and layer are taken from it.
    earlier : sequence of (mould, casting)
        Generations of masters before the last mould.
    shot : Shot or None
        What pushes the casting material into the last mould; None: what the kind usually has.
    primer : Paint or None
        Whose primer goes on the printed master before it is moulded; None: bare.
    heavy_tails : bool
        Whether light spreads as a Lorentzian, of the same edge (`heavy_tailed_like`).

    Raises
    ------
    InputError
        At no pressure, or light too weak to cure a thick body.
    """
    prints = limits.kind is not ProcessKind.HARD_TOOL
    fills = _fills(limits.kind, materials, earlier, shot)
    common = replace(
        null_chain(limits.pixel_mm, limits.layer_mm, grey_edges=grey_edges),
        prints=prints,
        mean_size_ratio=mean_size_ratio,
        uncalibrated=_uncalibrated(_figures(materials, fills, prints, primer)),
    )
    found: dict[str, ChainScenario] = {}
    for scenario in SCENARIOS:
        radii = tuple(_radii(mould, cast, scenario) for mould, cast in fills)
        chain = replace(common, generations=radii, paint=paint_film(materials.paint, scenario))
        if prints:
            chain = _printed(chain, materials, primer, scenario, heavy_tails)
        _check(chain, scenario)
        found[scenario] = chain
    return found


def _printed(
    chain: ChainScenario, materials: Materials, primer: Paint | None, scenario: str, heavy_tails: bool
) -> ChainScenario:
    """The chain with the print's light and the master's primer in it."""
    spread = GaussianSpread(materials.printer.blur_mm.scenario(scenario))
    depth = materials.resin.depth_mm.scenario(scenario)
    cured = materials.resin.cure_depth_mm.scenario(scenario)
    if not 0 < cured <= MOST_DEPTHS * depth:
        raise InputError(
            f"{scenario}: light that fades over {depth:g} mm can't cure a depth of {cured:g} mm",
            where="override.resin.depth_mm",
            mend="Give Dp and the cured depth of the resin's working curve, both in mm.",
        )
    return replace(
        chain,
        spread=heavy_tailed_like(spread) if heavy_tails else spread,
        depth_mm=depth,
        overdose=overdose_ratio(cured, depth),
        primer=primer_film(primer, scenario) if primer else NO_FILM,
    )


def _fills(
    kind: ProcessKind, materials: Materials, earlier: Sequence[tuple[Mould, Casting]], shot: Shot | None
) -> list[tuple[LeastFill, LeastFill]]:
    """What mould and casting fill in every generation, in their order."""
    if kind is ProcessKind.PRINT_ONLY:
        return []
    last = shot or shot_of(USUAL_SHOT[kind])
    found = [(mould_fill(mould), cast_fill(cast, _shot(mould))) for mould, cast in earlier]
    return [*found, (mould_fill(materials.mould), cast_fill(materials.cast, last))]


def _shot(mould: Mould) -> Shot:
    """The shot of an earlier generation: vulcanised moulds are spun, poured ones filled by gravity."""
    return shot_of("spin" if mould.chemistry == "vulcanised" else "gravity")


def _radii(mould: LeastFill, cast: LeastFill, scenario: str) -> GenerationRadii:
    """A ball stands for slits and pins alike: mildest and likely as slits fill, strongest as pins do."""
    if scenario == "high":
        return GenerationRadii(mould.pin_mm.high, cast.pin_mm.high)
    return GenerationRadii(mould.slit_mm.scenario(scenario), cast.slit_mm.scenario(scenario))


def _figures(
    materials: Materials,
    fills: Sequence[tuple[LeastFill, LeastFill]],
    prints: bool,
    primer: Paint | None,
) -> dict[str, Range]:
    paint = materials.paint
    figures = {f"paint {name}": getattr(paint, name) for name in ("primer_mm", "coat_mm", "coats")}
    # Where nothing is painted, how it levels does not matter.
    if paint.film_mm.high > 0:
        figures["paint level_ratio"] = paint.level_ratio
    if prints:
        figures["printer blur_mm"] = materials.printer.blur_mm
        figures |= {f"resin {name}": getattr(materials.resin, name) for name in ("depth_mm", "cure_depth_mm")}
        if primer:
            figures |= {"master's primer_mm": primer.primer_mm, "master's level_ratio": primer.level_ratio}
    for number, (mould, cast) in enumerate(fills, start=1):
        figures |= {f"mould {number} fill": mould.pin_mm, f"cast {number} fill": cast.pin_mm}
    return figures


def _uncalibrated(figures: Mapping[str, Range]) -> tuple[str, ...]:
    return tuple(name for name, figure in figures.items() if not figure.calibrated)


def _check(chain: ChainScenario, scenario: str) -> None:
    if chain.prints and not chain.threshold < 1:
        raise InputError(
            f"{scenario}: light cures a depth of {chain.depth_mm * math.log(chain.overdose):.3g} mm in layers of "
            f"{chain.layer_mm:g} mm, which does not hold a body together",
            where="override.resin.cure_depth_mm",
            mend="Give the depth that a layer's exposure reaches: more than the layer.",
        )
    if any(math.isinf(radius) for pair in chain.generations for radius in pair):
        raise InputError(
            f"{scenario}: nothing pushes a liquid that does not wet into the mould",
            where="shot",
            mend="Give a head, a pressure or a spin, the detail further out than the liquid's surface.",
        )
