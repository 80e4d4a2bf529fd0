"""Whether the names in a job file are there, and which parts each piece has."""

from collections.abc import Iterable, Sequence

from firstcast.errors import JobError
from firstcast.geometry.pieces import Piece
from firstcast.io._job_errors import dotted
from firstcast.io._job_folders import fits
from firstcast.process.figures import nearest_word


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
    specs: Sequence[tuple[str, Sequence[str]]], names: Sequence[str], rulers: Sequence[str]
) -> tuple[Piece, ...]:
    """The pieces with their parts, in the order of the job file.

    Parameters
    ----------
    specs : the pieces' names, and the names or globs of their parts
    names : all parts but rulers
    rulers : parts that belong to no piece

    Raises
    ------
    JobError
        A pattern fits no part or only a ruler, or a part is in two pieces.
    """
    owner: dict[str, str] = {}
    pieces = []
    for number, (piece, patterns) in enumerate(specs):
        parts: list[str] = []
        for place, pattern in enumerate(patterns):
            where = dotted(["piece", number, "parts", place])
            _check_ruler(pattern, names, rulers, where)
            for part in parts_fitting(pattern, names, where):
                if owner.setdefault(part, piece) != piece:
                    raise _in_two(part, pattern, owner[part], where)
                if part not in parts:
                    parts.append(part)
        pieces.append(Piece(piece, tuple(parts)))
    return tuple(pieces)


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
