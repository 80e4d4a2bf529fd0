"""What it asks of a mould's rubber to let a casting go: how far it stretches, and what tears.

Rubber is taken as neo-Hookean: one modulus, no change of volume (any textbook of rubber elasticity). A ring of it passes a
bulb stretched by bulb over neck; a plug, which can't grow smaller, lengthens by the ratio of its section to its neck's. How a
mould is peeled is a person's art, so every stretch is a wide range, to be narrowed by what the mould in use shows.
"""

import math
from dataclasses import dataclass

from firstcast.errors import InputError
from firstcast.process.materials import Mould
from firstcast.ranges import SCENARIOS, Range
from firstcast.vocabulary import Basis

NICK_MM = 0.5
"""Length of the cut that tearing starts from: such nicks are common where rubber was cut open or shut in air. Chosen, no source."""

FORMULA = "geometry of rubber that keeps its volume; how it is peeled is a wide default without a source"

HARDEST_SHORE = 95.0


def gent_modulus_mpa(shore_a: float) -> float:
    """Young's modulus from Shore A hardness: 0.0981 (56 + 7.62336 S) / (0.137505 (254 - 2.54 S)) (A. N. Gent, 1958).

    Raises
    ------
    InputError
        Below 0, or so hard that the scale says nothing any more.
    """
    if not 0.0 <= shore_a <= HARDEST_SHORE:
        raise InputError(
            f"Shore A {shore_a:g}",
            where="release",
            mend=f"Give 0 to {HARDEST_SHORE:g}, or the modulus itself.",
        )
    return 0.0981 * (56.0 + 7.62336 * shore_a) / (0.137505 * (254.0 - 2.54 * shore_a))


def neo_hookean_stress_mpa(modulus_mpa: float, stretch: float) -> float:
    """Force per area as it was, of a strip pulled to `stretch` times its length: E/3 (λ - λ⁻²)."""
    return modulus_mpa / 3.0 * (stretch - stretch**-2)


def neo_hookean_energy_mj_m3(modulus_mpa: float, stretch: float) -> float:
    """Energy stored in such a strip: E/6 (λ² + 2/λ - 3)."""
    return modulus_mpa / 6.0 * (stretch**2 + 2.0 / stretch - 3.0)


def tearing_energy_j_m2(modulus_mpa: float, stretch: float, nick_mm: float = NICK_MM) -> float:
    """Energy set free per area of tear at a nick in the edge of a strip: T = 2 K W c, K = 3 / √λ (H. W. Greensmith, 1963)."""
    energy = neo_hookean_energy_mj_m3(modulus_mpa, stretch) * 1e6
    return 2.0 * 3.0 / math.sqrt(stretch) * energy * nick_mm * 1e-3


def tearing_stretch(modulus_mpa: float, tear_kn_m: float, nick_mm: float = NICK_MM) -> float:
    """The stretch at which a nick runs on: where `tearing_energy_j_m2` reaches the tear strength.

    Tear strength, kN/m, is taken for the energy of tearing, kJ/m²: what a trouser test gives is up to twice that, so
    this errs on the side of tearing early.
    """
    low, high = 1.0, 2.0
    while tearing_energy_j_m2(modulus_mpa, high, nick_mm) < tear_kn_m * 1e3:
        high *= 2.0
        if high > 1e6:
            return math.inf
    # Halving 60 times leaves a part in 1e18 of the bracket.
    for _ in range(60):
        middle = 0.5 * (low + high)
        if tearing_energy_j_m2(modulus_mpa, middle, nick_mm) < tear_kn_m * 1e3:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def ring_strain(bulb_mm: float, neck_mm: float, slack_mm: float = 0.0) -> Range:
    """How far a ring of rubber must stretch to pass a bulb, as a ratio: 0.5 is by half.

    Parameters
    ----------
    bulb_mm, neck_mm : float
        Perimeters, or diameters, of what it passes and of where it sits.
    slack_mm : float
        By how much the neck may be smaller than measured.

    Notes
    -----
    Likely is bulb over neck. Low is half of that: one side is taken over first, so that the ring is round the neck on
    one side and round the bulb on the other. High is the same as likely with the neck at its smallest.

    Raises
    ------
    InputError
        A length is not above zero.
    """
    _positive(bulb_mm, neck_mm)
    strain = max(bulb_mm / neck_mm - 1.0, 0.0)
    least = max(neck_mm - slack_mm, 0.5 * neck_mm)
    return _strain(0.5 * strain, strain, max(bulb_mm / least - 1.0, strain))


def plug_strain(section_mm2: float, neck_mm2: float, slack_ratio: float = 0.0) -> Range:
    """How far a plug of rubber lengthens as it squeezes through its neck: section over neck, since it keeps its volume.

    Likely is that ratio less one. Low is its square root less one: the neck's own rim is rubber on one side, or the plug
    folds and passes bit by bit. High has a neck smaller by `slack_ratio` of it.

    Raises
    ------
    InputError
        An area is not above zero.
    """
    _positive(section_mm2, neck_mm2)
    ratio = max(section_mm2 / neck_mm2, 1.0)
    least = max(1.0 - slack_ratio, 0.5)
    return _strain(math.sqrt(ratio) - 1.0, ratio - 1.0, max(ratio / least - 1.0, ratio - 1.0))


def flex_strain(depth_mm: float, thick_mm: float, wall_mm: float) -> Range:
    """How far rubber stretches that reaches under a ledge and gets out sideways.

    Either the mould's wall gives way by the depth, a strain of depth over wall, or the rubber under the ledge folds
    round by a right angle, π/4 · thickness over depth at its outer face: the lesser of the two is likely. Low is half
    of that, as it is peeled from one end; high twice, where it sticks. Both ends are wide defaults.

    Raises
    ------
    InputError
        A length is not above zero.
    """
    _positive(depth_mm, thick_mm, wall_mm)
    strain = min(depth_mm / wall_mm, math.pi / 4.0 * thick_mm / depth_mm)
    return _strain(0.5 * strain, strain, 2.0 * strain)


def _strain(low: float, likely: float, high: float) -> Range:
    return Range(low, likely, high, "ratio", Basis.DEFAULT, FORMULA)


def _positive(*lengths: float) -> None:
    for length in lengths:
        if not (math.isfinite(length) and length > 0.0):
            raise InputError(f"a length or area of {length}", where="release", mend="Give more than 0.")


@dataclass(frozen=True)
class Strained:
    """A stretch held against what the rubber bears.

    Attributes
    ----------
    strain : Range
        How far it must stretch, as a ratio.
    of_break : Range
        That over what it stretches once before it breaks: from the least stretch of the best rubber to the most of the
        worst. 1 and more breaks it.
    of_tear : Range
        The same for energy at a nick over what tearing takes.
    """

    strain: Range
    of_break: Range
    of_tear: Range

    @property
    def share(self) -> float:
        """The greater of both as it is likely: what is likeliest to tear first has the greatest."""
        return max(self.of_break.likely, self.of_tear.likely)

    @property
    def first(self) -> str:
        """What gives way first: "break" or "tear"."""
        return "tear" if self.of_tear.likely > self.of_break.likely else "break"


def strained(strain: Range, mould: Mould, nick_mm: float = NICK_MM) -> Strained:
    """Hold a stretch against a mould material.

    Raises
    ------
    InputError
        The mould material doesn't stretch, as a hard tool or none.
    """
    if mould.elongation_ratio.low <= 0.0 or mould.tear_kn_m.low <= 0.0:
        raise InputError(
            "it neither stretches nor tears", where=mould.title, mend="Ask this of mould rubbers only."
        )
    worst = tuple(reversed(SCENARIOS))
    breaks = [
        strain.scenario(at) / mould.elongation_ratio.scenario(bears)
        for at, bears in zip(SCENARIOS, worst, strict=True)
    ]
    # A stiffer rubber sets more energy free, and least tear strength is used up soonest.
    tears = [
        tearing_energy_j_m2(mould.modulus_mpa.scenario(at), 1.0 + strain.scenario(at), nick_mm)
        / (1e3 * mould.tear_kn_m.scenario(bears))
        for at, bears in zip(SCENARIOS, worst, strict=True)
    ]
    return Strained(strain, _share(breaks, strain), _share(tears, strain))


def _share(values: list[float], strain: Range) -> Range:
    low, likely, high = values
    return Range(low, likely, high, "ratio", strain.basis, strain.source)
