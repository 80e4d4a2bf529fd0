"""Whether the names in a job file are there, and which parts each piece has."""

import math
from collections.abc import Iterable, Mapping, Sequence

from firstcast.errors import JobError
from firstcast.geometry.pieces import JointWanted, Piece, Side
from firstcast.io._job_errors import dotted
from firstcast.io._job_folders import fits
from firstcast.process.figures import nearest_word

SAME_PLANE_MM, SAME_WAY = 1e-4, 1e-6
"""Two planes are one if the place of each lies so near the other, and their directions, at length 1, so near."""


def check_unique(names: Iterable[str], table: str, key: str, *, capitals: bool = True) -> None:
    """That no name stands twice in a listed table.

    Parameters
    ----------
    names : the key's value in each entry of the table
    capitals : whether names that differ by capitals only are two; they aren't where they become file names
    """
    met: dict[str, str] = {}
    for place, name in enumerate(names):
        plain = name if capitals else name.casefold()
        if plain in met:
            differ = (
                f" ('{met[plain]}', and file systems may not tell capitals)" if name != met[plain] else ""
            )
            raise JobError(
                f"'{name}' is there twice{differ}",
                where=dotted([table, place, key]),
                mend="Give each its own.",
            )
        met[plain] = name


def parts_fitting(pattern: str, names: Sequence[str], where: str) -> list[str]:
    """The parts that a name or glob fits: the one so named, else all that the glob fits.

    Raises
    ------
    JobError
        None does.
    """
    found = [name for name in names if name == pattern] or [name for name in names if fits(name, pattern)]
    if not found:
        raise JobError(f"no part is named '{pattern}'", where=where, mend=nearest_word(pattern, names))
    return found


def pieces_of(
    specs: Sequence[tuple[str, Sequence[str], Side | None]], names: Sequence[str], rulers: Sequence[str]
) -> tuple[Piece, ...]:
    """The pieces with their parts, in the order of the job file.

    Parameters
    ----------
    specs : the pieces' names, the names or globs of their parts, and the side of a plane that each is cut to
    names : all parts but rulers
    rulers : parts that belong to no piece

    Raises
    ------
    JobError
        A pattern fits no part or only a ruler, or a part is in two pieces that are not the two sides of one cut.
    """
    owners: dict[str, list[str]] = {}
    keeps = {name: keep for name, _, keep in specs}
    pieces = []
    for number, (piece, patterns, keep) in enumerate(specs):
        parts: list[str] = []
        for place, pattern in enumerate(patterns):
            where = dotted(["piece", number, "parts", place])
            _check_ruler(pattern, names, rulers, where)
            for part in parts_fitting(pattern, names, where):
                others = [name for name in owners.setdefault(part, []) if name != piece]
                if others and not (len(others) == 1 and are_two_sides(keeps[others[0]], keep)):
                    raise _in_two(part, pattern, others[-1], where)
                if part not in parts:
                    parts.append(part)
                    owners[part].append(piece)
        pieces.append(Piece(piece, tuple(parts), keep))
    return tuple(pieces)


def are_two_sides(one: Side | None, other: Side | None) -> bool:
    """Whether two sides are those of one plane, so that what is cut to them has nothing in common."""
    if one is None or other is None:
        return False
    first, second = _unit(one.toward), _unit(other.toward)
    away = [b - a for a, b in zip(one.place_mm, other.place_mm, strict=True)]
    apart = [abs(sum(d * w for d, w in zip(away, way, strict=True))) for way in (first, second)]
    return max(apart) <= SAME_PLANE_MM and math.dist(first, [-w for w in second]) <= SAME_WAY


def _unit(way: tuple[float, float, float]) -> list[float]:
    length = math.hypot(*way)
    return [w / length for w in way]


def check_joints(joints: Sequence[JointWanted], keeps: Mapping[str, Side | None]) -> None:
    """That joints name pieces that are there, each pair once, and have a place: their own, or that of a cut.

    Parameters
    ----------
    joints : as the job file has them
    keeps : of every piece, the side of a plane that it is cut to

    Raises
    ------
    JobError
        They don't.
    """
    check_unique([joint.name for joint in joints], "joint", "name")
    met: dict[frozenset[str], str] = {}
    for number, joint in enumerate(joints):
        for key in ("peg", "socket"):
            piece = getattr(joint, key)
            if piece not in keeps:
                raise JobError(
                    f"no piece is named '{piece}'",
                    where=dotted(["joint", number, key]),
                    mend=nearest_word(piece, list(keeps)),
                )
        where = dotted(["joint", number])
        if joint.place_mm is None and keeps[joint.peg] is None and keeps[joint.socket] is None:
            raise JobError(
                f"neither '{joint.peg}' nor '{joint.socket}' is cut, so the joint has no place",
                where=where,
                mend="Give place_mm and toward, or cut a piece with keep.",
            )
        other = met.setdefault(frozenset((joint.peg, joint.socket)), joint.name)
        if other != joint.name:
            raise JobError(
                f"'{joint.peg}' and '{joint.socket}' are joined by '{other}' already",
                where=where,
                mend="One peg with its flat holds two pieces; a second would have to fit the first's place too. Take one out.",
            )


def _check_ruler(pattern: str, names: Sequence[str], rulers: Sequence[str], where: str) -> None:
    if any(fits(ruler, pattern) for ruler in rulers) and not any(fits(name, pattern) for name in names):
        raise JobError(
            f"'{pattern}' is the ruler of [size]",
            where=where,
            mend="A ruler belongs to no piece: take it out here, or out of [size].",
        )


def _in_two(part: str, pattern: str, owner: str, where: str) -> JobError:
    named = f"part '{part}'" if part == pattern else f"part '{part}', which '{pattern}' fits,"
    return JobError(
        f"{named} is in piece '{owner}' already", where=where, mend="Name each part in one piece only."
    )
