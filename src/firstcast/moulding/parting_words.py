"""What is said of a parting."""

from typing import Protocol

import numpy as np
import numpy.typing as npt

TOLD_MM, TOLD_MM2 = 0.5, 0.5
"""Less is not told."""

NAMED = 3
"""So many shut-offs are named, the rest counted."""


class _ShutOff(Protocol):
    @property
    def area_mm2(self) -> float: ...
    @property
    def words(self) -> str: ...


class _Parting(Protocol):
    @property
    def seams(self) -> tuple[npt.NDArray[np.float64], ...]: ...
    @property
    def length_mm(self) -> float: ...
    @property
    def flatness_mm(self) -> float: ...
    @property
    def level_mm(self) -> float: ...
    @property
    def crosses_detail_mm(self) -> float: ...
    @property
    def crosses_precious_mm(self) -> float: ...
    @property
    def seen_mm(self) -> float: ...
    @property
    def shut_offs(self) -> tuple[_ShutOff, ...]: ...
    @property
    def locked_mm3(self) -> float: ...


def parting_words(parting: _Parting) -> tuple[str, ...]:
    """Sentences for the maker: the seam, how flat it is, what it crosses, where the halves meet, what they can't let go."""
    if not parting.seams:
        return ("The halves meet nowhere on the body.",)
    return (
        _seam(parting),
        _flat(parting),
        _crosses(parting),
        *_shut_offs(parting.shut_offs),
        *_locked(parting),
    )


def _seam(parting: _Parting) -> str:
    count = len(parting.seams)
    loops = "one closed line" if count == 1 else f"{count} closed lines"
    return f"The seam is {parting.length_mm:.0f} mm long: {loops}."


def _flat(parting: _Parting) -> str:
    if parting.level_mm < TOLD_MM:
        return "It is flat, and square to the pull."
    if parting.flatness_mm < TOLD_MM:
        return f"It lies in a plane, which is not square to the pull: it climbs {2.0 * parting.level_mm:.1f} mm along it."
    return (
        f"It climbs {2.0 * parting.level_mm:.1f} mm along the pull, "
        f"and keeps within {parting.flatness_mm:.1f} mm of a plane."
    )


def _crosses(parting: _Parting) -> str:
    told = [
        (parting.crosses_precious_mm, "cross places that are precious"),
        (parting.seen_mm, "lie in open view from the front"),
        (parting.crosses_detail_mm, "cross relief"),
    ]
    found = [f"{length:.1f} mm of it {what}" for length, what in told if length >= TOLD_MM]
    if not found:
        return "It keeps out of relief and out of sight from the front."
    return f"{_joined(found)}."


def _shut_offs(shut_offs: tuple[_ShutOff, ...]) -> tuple[str, ...]:
    told = [each for each in shut_offs if each.area_mm2 >= TOLD_MM2]
    if not told:
        return ()
    named = [f"{each.words} ({each.area_mm2:.1f} mm²)" for each in told[:NAMED]]
    more = len(told) - NAMED
    rest = f", and {more} more" if more > 0 else ""
    places = "one place" if len(told) == 1 else f"{len(told)} places"
    return (f"Inside the outline the halves meet in {places}: {'; '.join(named)}{rest}.",)


def _locked(parting: _Parting) -> tuple[str, ...]:
    if parting.locked_mm3 < TOLD_MM2:
        return ("Either half lets go.",)
    return (f"{parting.locked_mm3:.0f} mm³ of mould can't leave with its half without giving way.",)


def _joined(words: list[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"
