"""What mould tells the maker: rubber that can't leave, what stretches most, tongues, walls without draft, a better way."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from firstcast.findings import Finding, MendOrder
from firstcast.geometry.body import Body
from firstcast.geometry.whereabouts import where
from firstcast.moulding.bounds import Bounds
from firstcast.moulding.draft import Undrafted
from firstcast.moulding.fill import LOCK, TONGUE, Fill, Place
from firstcast.moulding.knife import KnifeCut
from firstcast.moulding.locks import LEDGE, PLUG, RING, Lock
from firstcast.moulding.opening import PullWay
from firstcast.moulding.parting import Parting
from firstcast.moulding.tongues_told import TongueTold
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.ranges import Range
from firstcast.vocabulary import ProcessKind, Verdict

LEAST_SHARE = 0.15
"""A lock is told from such a share of what the rubber bears, at the high end. Chosen, no source."""

SURE_VOXELS = 2.0
"""A link that no larger ball passes is as narrow as voxels tell: it may not be there."""

LEAST_WEB_MM2 = 1.0
"""Captive rubber that links up over less tears off there at the first pull, as flash does: it is watched. Chosen, no source."""

BETTER = 0.7
"""A pull across the gate is told if it locks no more than this share. Chosen, no source."""

LEAST_TOLD_MM2 = 0.1
"""Smaller areas are told as less than this."""

LEAST_SEAM_MM = 0.5
"""A seam that runs through a precious zone for less is not told. Chosen, no source."""

LEAST_DRAFT_MM2 = 1.0
"""Less surface without draft is not told. Chosen, no source."""


@dataclass(frozen=True)
class Opened:
    """The mould as it opens, read at `pitch_mm`. `own_ratio`: whether the ratio of tongues is the job's own."""

    piece: str
    body: Body
    ways: tuple[PullWay, ...]
    locks: tuple[Lock, ...]
    tongues: tuple[TongueTold, ...]
    drafts: tuple[Undrafted, ...]
    bounds: Bounds
    own_ratio: bool
    pitch_mm: float

    def at(self, words: str, place_mm: tuple[float, float, float]) -> str:
        """A place as the beginning of a sentence: "Under 'hood', front, 26 mm up"."""
        return f"{words[0].upper()}{words[1:]}, {where(self.body.mesh, place_mm)}"


class Told(NamedTuple):
    """A finding about one place: "lock" or "tongue", and its row among them."""

    finding: Finding
    kind: str
    row: int


def told_places(opened: Opened, limits: Limits, materials: Materials) -> list[Told]:
    """One finding for every lock and tongue that is told, in the order in which they are told."""
    rows = list(enumerate(opened.locks))
    if not limits.locks_allowed:
        told = [Told(_held_fast(opened, lock), LOCK, row) for row, lock in rows]
    else:
        told = [Told(_captive(opened, lock, limits), LOCK, row) for row, lock in rows if lock.captive]
        free = [(row, lock) for row, lock in rows if not lock.captive and opened.bounds.overstretched(lock)]
        told += [
            Told(_locked(opened, lock, materials), LOCK, row)
            for kind in (RING, PLUG, LEDGE)
            for row, lock in free
            if lock.kind == kind
        ]
    return told + [Told(_tongue(opened, tongue), TONGUE, row) for row, tongue in enumerate(opened.tongues)]


def mould_findings(
    opened: Opened, told: Sequence[Told], fills: Sequence[Fill], limits: Limits, *, most: int
) -> Iterator[Finding]:
    """All findings, `most` of each kind one by one and the rest in one; each with the fill that would mend it."""
    by_place: dict[Place, list[Fill]] = {}
    for fill in fills:
        for place in fill.places:
            by_place.setdefault(place, []).append(fill)
    grouped: dict[str, list[Finding]] = {}
    for finding, kind, row in told:
        found = by_place.get((kind, row), [])
        grouped.setdefault(finding.code, []).append(_with_fills(finding, found) if found else finding)
    if not limits.locks_allowed:
        grouped["no-draft"] = list(_no_draft(opened, limits))
    for group in grouped.values():
        yield from _few(opened, group, most)
    if limits.kind is not ProcessKind.CUT_BLOCK:
        yield from _across_gate(opened)


def places_asked_for(told: Sequence[Told], mends: Sequence[MendOrder]) -> frozenset[Place]:
    """The places whose finding some order wants mended."""
    return frozenset(
        (kind, row) for finding, kind, row in told if any(order.asks_for(finding) for order in mends)
    )


def seam_findings(piece: str, parting: Parting | None, knife: KnifeCut | None) -> Iterator[Finding]:
    """A seam, or a cut, that runs through a precious zone."""
    if parting is not None:
        what, crosses_mm = "The parting's seam", parting.crosses_precious_mm
    elif knife is not None:
        what, crosses_mm = "The line for the knife", knife.crosses_precious_mm
    else:
        return
    if crosses_mm >= LEAST_SEAM_MM:
        yield Finding(
            "mould",
            "seam-in-precious",
            Verdict.WATCH,
            piece,
            f"{what} runs {crosses_mm:.1f} mm through precious places: there is no way round that costs less.",
            "Give the pull in [mould] pull, or accept it: the seam is trimmed by hand there.",
            measured=crosses_mm,
            limit=LEAST_SEAM_MM,
            worse="high",
        )


def _with_fills(finding: Finding, fills: Sequence[Fill]) -> Finding:
    """A finding with what would mend it: of captive rubber what shuts the link, then what is still held behind that."""
    words = " What is left then: ".join(fill.words for fill in fills)
    made = "" if all(fill.why_not for fill in fills) else f' [[mend]] id = "{finding.id}" makes it.'
    return replace(finding, mend=f"{words}{made} Otherwise: {finding.mend[0].lower()}{finding.mend[1:]}")


def _few(opened: Opened, findings: Sequence[Finding], most: int) -> Iterator[Finding]:
    """The first of some findings of a kind, in order, and one line for the rest."""
    yield from findings[:most]
    rest = findings[most:]
    if rest:
        gravest = rest[0]
        names = sorted({finding.part for finding in rest})
        yield Finding(
            "mould",
            gravest.code,
            max((finding.verdict for finding in rest), key=lambda verdict: verdict.weight),
            opened.piece,
            f"{len(rest)} more places of the same kind: {', '.join(names)}.",
            "They come up one by one as the graver ones are mended.",
            measured=gravest.measured,
            limit=gravest.limit,
            unit=gravest.unit,
            worse=gravest.worse,
        )


def _captive(opened: Opened, lock: Lock, limits: Limits) -> Finding:
    cut = limits.kind is ProcessKind.CUT_BLOCK
    slight = lock.web_mm2 < LEAST_WEB_MM2
    unsure = lock.link_mm < SURE_VOXELS * opened.pitch_mm
    how = "It can't leave at all"
    if slight:
        how = "It tears off there at the first pull and stays in the casting"
    elif unsure:
        how = "So narrow a link may not be there: if it is, it can't leave"
    elif cut:
        how = "It has to be cut as the block is opened"
    return Finding(
        "mould",
        "captive-rubber",
        Verdict.WATCH if cut or slight or unsure else Verdict.STOP,
        lock.part,
        f"{opened.at(lock.words, lock.place_mm)}: {_volume(lock)} of rubber goes in, {lock.depth_mm:.1f} mm deep, and "
        f"links up with what comes in from another side, over {_area(lock.web_mm2)} where it is narrowest. {how}.",
        f"Have the rubber cut through there, fill the hole, or make '{lock.part}' a piece of its own.",
        place_mm=lock.place_mm,
        measured=lock.volume_mm3,
        limit=0.0,
        unit="mm3",
        worse="high",
    )


def _locked(opened: Opened, lock: Lock, materials: Materials) -> Finding:
    asks = lock.asks
    assert asks is not None
    what = {
        RING: f"{_volume(lock)} of rubber lies right round a neck of {lock.neck_mm:.1f} mm, below a bulb of "
        f"{lock.wide_mm:.1f} mm",
        PLUG: f"{_volume(lock)} of rubber is held by a neck {lock.neck_mm:.1f} mm wide, of {_area(lock.neck_mm2)} where the "
        f"plug has {_area(lock.section_mm2)}, {lock.depth_mm:.1f} mm deep",
        LEDGE: f"{_volume(lock)} of rubber {lock.wide_mm:.1f} mm thick reaches {lock.depth_mm:.1f} mm under",
    }[lock.kind]
    return Finding(
        "mould",
        f"locked-{lock.kind}",
        Verdict.WATCH,
        lock.part,
        f"{opened.at(lock.words, lock.place_mm)}: {what}. To leave it must stretch by {_percent(asks.strain)}; "
        f"{_bears(lock, materials)}.{_through(lock)}",
        {
            RING: f"Thicken the neck, thin the bulb, have the mould cut open along it, or make '{lock.part}' a piece of its own.",
            PLUG: "Fill the hollow as far as its neck, or widen the neck.",
            LEDGE: "Fill it in part, or have it peeled from its open end; a softer rubber lets go more easily.",
        }[lock.kind],
        place_mm=lock.place_mm,
        measured=asks.share,
        limit=1.0,
        unit="ratio",
        worse="high",
    )


def _through(lock: Lock) -> str:
    """What the parting has to do with a place that links up with rubber that it crosses."""
    return f" It links up over {_area(lock.web_mm2)}: lead the parting through there." if lock.parted else ""


def _bears(lock: Lock, materials: Materials) -> str:
    asks = lock.asks
    assert asks is not None
    share = asks.of_tear if asks.first == "tear" else asks.of_break
    ends = f"{share.likely:.2g} ({share.low:.2g} to {share.high:.2g})"
    title = materials.mould.title
    if asks.first == "tear":
        return f"that is {ends} of what tears {title} on from a nick"
    return f"that is {ends} of what {title} stretches by before it breaks"


def _percent(strain: Range) -> str:
    low, high = _round(100.0 * strain.low), _round(100.0 * strain.high)
    return f"{low:.0f} to {high:.0f} %"


def _round(value: float) -> float:
    """To fives below a hundred, to tens above: an estimate has no more digits."""
    step = 5.0 if value < 100.0 else 10.0
    return max(step * round(value / step), 1.0)


def _held_fast(opened: Opened, lock: Lock) -> Finding:
    return Finding(
        "mould",
        "locked-tool",
        Verdict.STOP,
        lock.part,
        f"{opened.at(lock.words, lock.place_mm)}: {_volume(lock)} of the tool, {lock.depth_mm:.1f} mm deep, can leave "
        "neither way: a hard tool lets nothing pass.",
        f"Fill it, turn it until it opens along the pull, or make '{lock.part}' a piece of its own.",
        place_mm=lock.place_mm,
        measured=lock.volume_mm3,
        limit=0.0,
        unit="mm3",
        worse="high",
    )


def _no_draft(opened: Opened, limits: Limits) -> Iterator[Finding]:
    draft = limits.draft_deg
    for each in opened.drafts:
        if each.area_mm2 >= LEAST_DRAFT_MM2:
            yield Finding(
                "mould",
                "no-draft",
                Verdict.STOP if draft.calibrated else Verdict.WATCH,
                each.part,
                f"'{each.part}', {where(opened.body.mesh, each.place_mm)}: {_area(each.area_mm2)} lean less than "
                f"{draft.likely:g}° from the pull.",
                "Give it draft, or ask the toolmaker what he bears there.",
                place_mm=each.place_mm,
                measured=each.area_mm2,
                limit=LEAST_DRAFT_MM2,
                unit="mm2",
                worse="high",
            )


def _tongue(opened: Opened, tongue: TongueTold) -> Finding:
    limit, given = opened.bounds.tongue_ratio, opened.own_ratio
    return Finding(
        "mould",
        "tongue",
        # the limit is a rule of thumb until the job gives its own
        Verdict.STOP if given else Verdict.WATCH,
        tongue.part,
        f"{opened.at(tongue.words, tongue.place_mm)}: a tongue of the mould {tongue.base_mm:.1f} mm thick stands "
        f"{tongue.depth_mm:.1f} mm deep, {tongue.ratio:.1f} to 1. Beyond {limit:g} to 1 it tears or bends.",
        f"Fill the gap to {limit * tongue.base_mm:.1f} mm deep, or open it to {tongue.depth_mm / limit:.1f} mm.",
        place_mm=tongue.place_mm,
        measured=tongue.ratio,
        limit=limit,
        unit="ratio",
        worse="high",
    )


def _across_gate(opened: Opened) -> Iterator[Finding]:
    mine, better = opened.ways[0], opened.ways[-1]
    if better.gate_in_parting or better is mine or better.locked_mm3 > BETTER * mine.locked_mm3:
        return
    yield Finding(
        "mould",
        "gate-across",
        Verdict.WATCH,
        opened.piece,
        f"With the gate elsewhere it would open better: {better.words}; as it is, {mine.words}.",
        "Move the gate and the tab, and say so in [mould] gate; or leave it.",
        measured=mine.locked_mm3,
        limit=better.locked_mm3,
        unit="mm3",
        worse="high",
    )


def _volume(lock: Lock) -> str:
    return f"{lock.volume_mm3:.0f} mm³" if lock.volume_mm3 >= 10.0 else f"{lock.volume_mm3:.1f} mm³"


def _area(area_mm2: float) -> str:
    if area_mm2 < LEAST_TOLD_MM2:
        return f"less than {LEAST_TOLD_MM2:g} mm²"
    return f"{area_mm2:.0f} mm²" if area_mm2 >= 10.0 else f"{area_mm2:.1f} mm²"
