"""What carry tells the maker: which parts' detail is lost, by how much, and from what size on it would survive."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firstcast.findings import Finding, Measure
from firstcast.forecast.carry import Carried as Found
from firstcast.forecast.details import Detail, needed_mm
from firstcast.geometry.body import Body
from firstcast.geometry.whereabouts import where
from firstcast.process.chain import ChainScenario
from firstcast.ranges import LIKELY
from firstcast.vocabulary import Make, Verdict

MOST_TOLD = 12
"""Parts that are told one by one; the rest are counted in one line."""

DEPTH_PER_RMS = 2.0 * 2.0**0.5
"""Crest to trough of a sine, over the RMS of its height."""

MOST_RATIO = 2.5
"""A figure larger by more than this is no mend."""

WORSE_SHARE = 0.01
"""Fewer places than this that end worse in some scenario are only measured: chosen, no source."""


@dataclass(frozen=True)
class Figure:
    """Whose detail it is: the piece's name and body, the height of the whole figure, the share that is wanted."""

    piece: str
    body: Body
    height_mm: float
    kept_ratio: float


def of_parts(details: Sequence[Detail]) -> list[list[Detail]]:
    """The details part by part, the part that keeps least of its finest first."""
    parts: dict[int, list[Detail]] = {}
    for detail in details:
        parts.setdefault(detail.part, []).append(detail)
    return sorted(parts.values(), key=lambda found: found[0].after[LIKELY])


def findings_of(
    figure: Figure,
    details: Sequence[Detail],
    makes: Sequence[Make],
    found: Found | None,
    chain: ChainScenario,
) -> tuple[Finding, ...]:
    """The findings of a piece: the choice to make, the parts whose detail is lost, what carry made worse."""
    lost = [part for part in of_parts(details) if _kept(part[0], makes)[LIKELY] < figure.kept_ratio]
    findings = [_lost(figure, part, makes) for part in lost[:MOST_TOLD]]
    if len(lost) > MOST_TOLD:
        findings.append(_rest(figure, lost[MOST_TOLD:], makes))
    if len(makes) > 1:
        findings.insert(0, _offer(figure, details, chain))
    if found is not None and Make.CARRIED in makes:
        findings += _worse(figure, found)
    return tuple(findings)


def _kept(detail: Detail, makes: Sequence[Make]) -> tuple[float, float, float]:
    """What is left with the master that will be cast; while both are made, with the carried one."""
    return detail.after if Make.CARRIED in makes else detail.before


def not_carried(piece: str) -> Finding:
    """A carried master was asked for, and there is none."""
    return Finding(
        station="carry",
        code="not-carried",
        verdict=Verdict.WATCH,
        part=piece,
        says="The job asks for the carried master, but nothing was carried: the master is the plain one.",
        mend="Look at this station's line for why: no forecast, nothing printed, cap_mm = 0, or no step that was better.",
    )


def _lost(figure: Figure, part: Sequence[Detail], makes: Sequence[Make]) -> Finding:
    """One part's finest detail: how much is left, and how coarse it would have to be."""
    detail = part[0]
    name = figure.body.part_names[detail.part]
    carried = ""
    if Make.CARRIED in makes:
        carried = f", {_percents(detail.after)} with carry"
    return Finding(
        station="carry",
        code="detail-lost",
        verdict=Verdict.WATCH,
        part=name,
        says=f"'{name}', {where(figure.body.mesh, detail.place_mm)}: of detail about {detail.scale_mm:g} mm across and "
        f"{DEPTH_PER_RMS * detail.height_mm:.2f} mm deep, {_percents(detail.before)} of the depth is left after paint{carried}; at least "
        f"{100 * figure.kept_ratio:.0f} % is wanted.",
        mend=_mend(figure, part),
        place_mm=detail.place_mm,
        measured=_kept(detail, makes)[LIKELY],
        limit=figure.kept_ratio,
        unit="ratio",
    )


def _percents(shares: Sequence[float]) -> str:
    """A range in per cent: what least and most of the three scenarios leave."""
    low, high = (round(100 * share) for share in (min(shares), max(shares)))
    low, high = max(low, 0), max(high, 0)
    return f"{low} %" if low == high else f"{low} to {high} %"


def _mend(figure: Figure, part: Sequence[Detail]) -> str:
    needed, finest = needed_mm(part, figure.kept_ratio), part[0].scale_mm
    if not np.isfinite(needed):
        return (
            "Sculpt it deeper and coarser, or let it go: no detail of this part keeps so much at any scale."
        )
    ratio = needed / finest
    larger = f", or a figure of {figure.height_mm * ratio:.0f} mm" if 1.0 < ratio <= MOST_RATIO else ""
    return f"Sculpt it at least {needed:.2f} mm across{larger}; or let it go."


def _rest(figure: Figure, parts: Sequence[Sequence[Detail]], makes: Sequence[Make]) -> Finding:
    names = sorted({figure.body.part_names[part[0].part] for part in parts})
    least = min(_kept(part[0], makes)[LIKELY] for part in parts)
    return Finding(
        station="carry",
        code="detail-lost",
        verdict=Verdict.WATCH,
        part=figure.piece,
        says=f"{len(parts)} more parts keep less than {100 * figure.kept_ratio:.0f} % of their finest detail: "
        f"{', '.join(names)}.",
        mend="All are in the measures of this station.",
        measured=least,
        limit=figure.kept_ratio,
        unit="ratio",
    )


def _offer(figure: Figure, details: Sequence[Detail], chain: ChainScenario) -> Finding:
    """Both masters are made: which to cast is for the maker to say, in one line."""
    worst = min(details, key=lambda detail: detail.before[LIKELY], default=None)
    gain = ""
    if worst is not None:
        name = figure.body.part_names[worst.part]
        gain = (
            f" Of '{name}', which loses most, {_percents(worst.before)} is left without carry and "
            f"{_percents(worst.after)} with it."
        )
    shown = ", ".join(chain.uncalibrated[:3])
    more = len(chain.uncalibrated) - 3
    rest = f" and {more} more" if more > 0 else ""
    return Finding(
        station="carry",
        code="choose-master",
        verdict=Verdict.WATCH,
        part=figure.piece,
        says=f"Two masters were made: plain, and carried.{gain} The forecast rests on figures that are not yours yet: "
        f"{shown}{rest}.",
        mend='Look at the pictures and write [carry] make = "plain" or "carried".',
    )


def _worse(figure: Figure, found: Found) -> list[Finding]:
    """Where some scenario ends worse than without carry."""
    share = found.worse_count / len(found.length_mm)
    if share <= WORSE_SHARE:
        return []
    return [
        Finding(
            station="carry",
            code="carried-too-far",
            verdict=Verdict.WATCH,
            part=figure.piece,
            says=f"At {100 * share:.2g} % of the places one of the three scenarios ends farther off with carry than "
            f"without, by {1000 * found.worst_mm:.0f} µm at most: there the three want different things.",
            mend="Look at the pictures; [carry] rounds = 6 draws more of it back, and figures of your own narrow the range.",
            measured=share,
            limit=WORSE_SHARE,
            unit="ratio",
            worse="high",
        )
    ]


def smallest_mm(figure: Figure, details: Sequence[Detail]) -> float:
    """Height of the smallest figure at which every part would keep what is wanted, by estimate; never below its own."""
    ratios = [needed_mm(part, figure.kept_ratio) / part[0].scale_mm for part in of_parts(details)]
    return figure.height_mm * max([1.0, *ratios])


def says_of(
    figure: Figure, details: Sequence[Detail], makes: Sequence[Make], found: Found | None, most_mm: float
) -> str:
    """The station's line on the route card."""
    lost = sum(_kept(part[0], makes)[LIKELY] < figure.kept_ratio for part in of_parts(details))
    parts = len(of_parts(details))
    kept = f"{parts - lost} of {parts} parts keep {100 * figure.kept_ratio:.0f} % of their finest detail"
    if found is None:
        return f"{kept}; nothing is carried"
    moved = f"up to {1000 * most_mm:.0f} µm carried"
    return f"{kept}; {moved}, {' and '.join(makes)} {'masters' if len(makes) > 1 else 'master'}"


def measures_of(
    figure: Figure, details: Sequence[Detail], found: Found | None, most_mm: float
) -> tuple[Measure, ...]:
    """What was forecast and carried: in figures, and part by part."""
    smallest = smallest_mm(figure, details)
    told = [Measure("carried at most", most_mm, "mm", "along the normals, on the master")]
    if np.isfinite(smallest):
        told.append(
            Measure(
                "smallest figure", smallest, "mm", "at which every part would keep what is wanted, estimated"
            )
        )
    if found is not None:
        told += [
            Measure("drawn back", found.undone_share, "ratio", "share of the surface where less was kept"),
            Measure("ends worse by", found.worst_mm, "mm", f"in any scenario, {found.worse_count:,} places"),
            Measure(
                "greatest amplitude",
                _finite(found.amplitude_most),
                "ratio",
                f"{found.over_count:,} places over",
            ),
        ]
    return (*told, *(_of_part(figure, part) for part in of_parts(details)))


def _finite(value: float) -> float:
    return value if np.isfinite(value) else 0.0


def _of_part(figure: Figure, part: Sequence[Detail]) -> Measure:
    """A part's detail at every scale it has: what is left without and with carry."""
    told = [
        f"{detail.scale_mm:g} mm: {_percents(detail.before)}, {_percents(detail.after)} carried"
        for detail in part
    ]
    name = figure.body.part_names[part[0].part]
    return Measure(f"kept of {name}", part[0].after[LIKELY], "ratio", "; ".join(told))
