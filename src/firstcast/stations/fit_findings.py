"""What the fit station tells of a joint: where it can't be made, what is thin, and how it will go together."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.findings import Finding
from firstcast.forecast.joint_casts import Play
from firstcast.forecast.joint_seats import Bed, Seat
from firstcast.forecast.joint_sizes import Sized
from firstcast.geometry.pieces import JointWanted
from firstcast.process.limits import Limits
from firstcast.vocabulary import Verdict


@dataclass(frozen=True)
class Found:
    """What is known of a joint, as far as it came."""

    wanted: JointWanted
    seat: Seat
    sized: Sized | None = None
    play: Play | None = None
    bed: Bed | None = None


def findings_of(found: Found, limits: Limits, loose_mm: float) -> list[Finding]:
    """All that is told of a joint; `loose_mm` is the play on a side from which it is."""
    if not found.seat.meets:
        return [_apart(found)]
    if found.sized is None or found.sized.peg is None:
        return [_no_room(found, limits)]
    return [*_walls(found, limits), *_plays(found, loose_mm), *_beds(found)]


def _finding(
    found: Found,
    code: str,
    verdict: Verdict,
    says: str,
    mend: str,
    measured: float,
    limit: float,
    *,
    worse: str = "low",
    unit: str = "mm",
    at: npt.ArrayLike | None = None,
    part: str = "",
) -> Finding:
    place = found.seat.place_mm if at is None else np.asarray(at, np.float64)
    if at is None and found.sized is not None and found.sized.peg is not None:
        place = found.sized.peg.place_mm
    x, y, z = (float(c) for c in place)
    text = f"Joint '{found.wanted.name}': {says}"
    return Finding(
        "fit", code, verdict, part or found.wanted.socket, text, mend, (x, y, z), measured, limit, unit, worse
    )


def _apart(found: Found) -> Finding:
    wanted, seat = found.wanted, found.seat
    missing = wanted.peg if seat.missing[0] else wanted.socket
    side = "behind" if missing == wanted.peg else "before"
    return _finding(
        found, "pieces-apart", Verdict.STOP,
        f"there is nothing of '{missing}' right {side} its seat, so '{wanted.peg}' and '{wanted.socket}' don't meet there.",
        "Move place_mm to where both pieces are, or turn toward round: it leads from the piece with the peg into the other.",
        0.0, 1.0, unit="count", part=missing,
    )  # fmt: skip


def _no_room(found: Found, limits: Limits) -> Finding:
    sized = found.sized
    radius = 0.0 if sized is None else max(0.0, sized.radius_mm)
    wall = limits.wall_mm.low
    return _finding(
        found, "no-room", Verdict.WATCH,
        f"both pieces have a circle of {2.0 * radius:.2f} mm in common there, which is no room for a peg of {wall:g} mm "
        f"with its play and walls of {wall:g} mm round it; no peg is made.",
        "Move the joint to where both pieces are stouter, make the figure larger, or give width_mm and depth_mm and "
        "accept thinner walls.",
        2.0 * radius, 3.0 * wall, part=found.wanted.socket,
    )  # fmt: skip


def _walls(found: Found, limits: Limits) -> list[Finding]:
    sized, wanted = found.sized, found.wanted
    assert sized is not None
    findings = []
    for code, measured, piece, what in (
        ("thin-socket", sized.wall_mm, wanted.socket, "the wall round the socket"),
        ("thin-floor", sized.floor_mm, wanted.socket, "the floor under the socket"),
        ("thin-root", sized.root_mm, wanted.peg, "what stands round the peg's root"),
    ):
        # round its root a peg is not hollow: a shoulder to sit on is enough
        limit = limits.wall_mm if code != "thin-root" else limits.wall_mm.map(lambda wall: 0.25 * wall)
        if measured >= limit.likely:
            continue
        sure = limits.wall_mm.calibrated and measured < limit.low
        findings.append(
            _finding(
                found, code, Verdict.STOP if sure else Verdict.WATCH,
                f"{what} is {max(0.0, measured):.2f} mm thick at its thinnest; {limit.likely:.2g} mm are wanted "
                f"({limit.low:.2g} at least).",
                "Give a smaller width_mm or depth_mm, or move the joint to where the piece is stouter.",
                measured, limit.likely, part=piece,
            )
        )  # fmt: skip
    return findings


def _plays(found: Found, loose_mm: float) -> list[Finding]:
    play, sized = found.play, found.sized
    assert play is not None
    assert sized is not None
    findings = []
    if play.least_mm < 0.0 or not play.goes_in:
        lacks = max(-play.least_mm, 0.0)
        x, y, z = play.tight_way
        findings.append(
            _finding(
                found, "play-lost", Verdict.STOP if play.calibrated else Verdict.WATCH,
                f"the peg may come too wide for its socket by up to {lacks:.2f} mm on the side that looks "
                f"{_looks(play.tight_way)}, along ({x:.1f}, {y:.1f}, {z:.1f}); in the likely case it has {play.likely_mm:.2f} mm of play.",
                f"{_clearance(found)}Try the first two castings in each other before more are made, and file that side of "
                "the peg where it binds. Both pieces with the joint's axis nearly upright, or a printed gauge, which narrows "
                "the figures of light, need less.",
                play.least_mm, 0.0,
            )
        )  # fmt: skip
    if play.most_mm > loose_mm:
        findings.append(
            _finding(
                found, "play-great", Verdict.WATCH,
                f"it may have up to {play.most_mm:.2f} mm of play on a side; {loose_mm:g} mm are taken for firm.",
                "Glue that fills gaps takes it up, and the flat still shows which way round. A printed gauge, which narrows the "
                "figures, or both pieces with the joint's axis nearly upright, make it less.",
                play.most_mm, loose_mm, worse="high",
            )
        )  # fmt: skip
    return findings


def _looks(way: npt.ArrayLike) -> str:
    """Where a way of the figure mostly looks; the figure faces -y."""
    along = np.asarray(way, np.float64)
    axis = int(np.abs(along).argmax())
    back, onward = (("to its right", "to its left"), ("to the front", "to the back"), ("down", "up"))[axis]
    return onward if along[axis] > 0.0 else back


def _clearance(found: Found) -> str:
    """What clearance would let the peg in at worst, where that is known."""
    assert found.sized is not None
    gaps = found.sized.gaps
    if gaps is None or not len(gaps.wanted_mm):
        return ""
    # to the next hundredth above
    wanted = float(np.ceil(100.0 * gaps.wanted_mm.max())) / 100.0
    return f"Set the joint's play_mm to {wanted:.2f}, which makes a slim piece's peg thinner. "


def _beds(found: Found) -> list[Finding]:
    bed, wanted = found.bed, found.wanted
    assert bed is not None
    findings = []
    if bed.beyond_mm > 0.0:
        findings.append(
            _finding(
                found, "reaches-in", Verdict.STOP,
                f"'{wanted.peg}' goes on {bed.beyond_mm:.2f} mm beyond the seat inside '{wanted.socket}', so it can't be laid "
                "on it.",
                f"Cut it there: give piece '{wanted.peg}' a keep at the seat, toward the other way.",
                bed.beyond_mm, 0.0, worse="high", part=wanted.peg,
            )
        )  # fmt: skip
    if bed.blocked_at_mm is not None:
        findings.append(
            _finding(
                found, "way-blocked", Verdict.WATCH,
                f"{bed.blocked_mm3:.2f} mm³ of '{wanted.socket}' are in the way as '{wanted.peg}' comes straight along the "
                "joint's axis.",
                "Turn toward so that the way is free, or look whether it can be turned in or bent past.",
                bed.blocked_mm3, 0.0, worse="high", unit="mm3", at=bed.blocked_at_mm,
            )
        )  # fmt: skip
    return findings
