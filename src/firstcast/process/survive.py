"""Whether a print master survives the making of its mould: heat, pressure, cure inhibition."""

from firstcast.process.materials import Mould, Resin
from firstcast.ranges import Range


def heat_margin_degC(resin: Resin, mould: Mould) -> Range:
    """How far the mould's curing stays below the resin's heat deflection; negative: the master sags."""
    resin_degC, cure = resin.heat_deflection_degC, mould.cure_degC
    basis = resin_degC.basis if not resin_degC.calibrated else cure.basis
    return Range(
        resin_degC.low - cure.high,
        resin_degC.likely - cure.likely,
        resin_degC.high - cure.low,
        "degC",
        basis,
        "heat deflection less curing temperature",
    )


def pressing_stress_mpa(mould: Mould, length_mm: float, thickness_mm: float) -> Range:
    """Bending stress at the root of a thin part while the rubber is pressed round it.

    A cantilever of thickness t and length L under a pressure p on one face bears 3 p (L / t)² at its
    root (beam theory: moment p L² / 2, section t² / 6, each per unit of width). p is the share of the
    curing pressure that isn't balanced from behind.
    """
    slender = 3.0 * (length_mm / thickness_mm) ** 2
    pressure, share = mould.cure_pressure_mpa, mould.uneven_pressure_ratio
    low, likely, high = (
        slender * pressure.scenario(s) * share.scenario(s) for s in ("low", "likely", "high")
    )
    basis = pressure.basis if not pressure.calibrated else share.basis
    return Range(low, likely, high, "MPa", basis, "cantilever under uneven pressure")


def inhibits(resin: Resin, mould: Mould) -> bool:
    """Whether the resin may keep the mould from curing: addition-cure silicone on photopolymer."""
    return resin.inhibits_addition_cure and mould.chemistry == "addition"


def warm_growth_ratio(mould: Mould, room_degC: float = 23.0) -> Range:
    """Shrinkage of the cavity by warmth, negative because it grows: -α · (running - room)."""
    expansion, running = mould.expansion_per_degC, mould.running_degC
    grown = [
        a * (t - room_degC) for a in (expansion.low, expansion.high) for t in (running.low, running.high)
    ]
    likely = expansion.likely * (running.likely - room_degC)
    basis = expansion.basis if not expansion.calibrated else running.basis
    return Range(-max(grown), -likely, -min(grown), "ratio", basis, "expansion times warmth")
