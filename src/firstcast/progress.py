"""How progress is told: lines for a person, JSON lines for a machine, or nothing."""

import json
from collections.abc import Callable
from typing import TextIO

from firstcast.route import Progress


def silent(progress: Progress) -> None:
    """Say nothing."""


def _left(seconds: float | None) -> str:
    if seconds is None or seconds < 1:
        return ""
    return f"   about {seconds:.0f} s left" if seconds < 90 else f"   about {seconds / 60:.0f} min left"


def lines(stream: TextIO) -> Callable[[Progress], None]:
    """One line per finished step; on a terminal the step at work is shown too."""
    live = stream.isatty()

    def tell(progress: Progress) -> None:
        step = progress.step
        name = f"{step.station.name:<8} {step.subject}"
        if not progress.finished:
            if live and not progress.kept:
                stream.write(f"\r\033[K  {name} ...{_left(progress.left_s)}")
                stream.flush()
            return
        if progress.kept:
            return
        stream.write(
            ("\r\033[K" if live else "") + f"  {name:<32} {progress.seconds:6.1f} s{_left(progress.left_s)}\n"
        )
        stream.flush()

    return tell


def json_lines(stream: TextIO) -> Callable[[Progress], None]:
    """One JSON object per event."""

    def tell(progress: Progress) -> None:
        record = {
            "station": progress.step.station.name,
            "subject": progress.step.subject,
            "done": progress.done,
            "total": progress.total,
            "finished": progress.finished,
            "kept": progress.kept,
            "seconds": round(progress.seconds, 3),
            "left_s": None if progress.left_s is None else round(progress.left_s, 1),
        }
        stream.write(json.dumps(record) + "\n")
        stream.flush()

    return tell
