"""Every word of the craft that the code uses, once: enums and constants, each with its meaning.

Trade words are used as the trade uses them; words of ISO/ASTM 52900 (build platform, layer,
support, build orientation, nesting) as the standard does. The remaining words are our own.
"""

from enum import StrEnum


class Verdict(StrEnum):
    """What a finding, a station or a proof comes to. Ordered: sound < watch < stop."""

    SOUND = "sound"
    """Nothing to look at."""
    WATCH = "watch"
    """The job goes on; a person should look."""
    STOP = "stop"
    """Must be mended, or accepted by id in the job file, before masters are released."""

    @property
    def weight(self) -> int:
        """0, 1 or 2: so that the worst of several verdicts is their maximum."""
        return ("sound", "watch", "stop").index(self.value)


def worst(verdicts) -> Verdict:
    """The gravest of some verdicts; `sound` where there are none."""
    return max(verdicts, key=lambda verdict: verdict.weight, default=Verdict.SOUND)


class ProcessKind(StrEnum):
    """How a piece is moulded and cast: it sets limits, verdicts, vents and who allows for what."""

    CUT_BLOCK = "cut-block"
    """One block of poured rubber, cut open along a wavy line."""
    TWO_PART_BLOCK = "two-part-block"
    """Two halves of poured rubber with keys."""
    SPIN_DISC = "spin-disc"
    """A vulcanised or silicone disc, spun; with or without a generation of metal masters."""
    HARD_TOOL = "hard-tool"
    """The toolmaker works from data: a nominal mesh, draft matters, nothing may lock."""
    PRINT_ONLY = "print-only"
    """The print is the product."""


class ShellKind(StrEnum):
    """What intake made of one connected shell of triangles."""

    CLOSED = "closed"
    """Closed and outward as delivered (or turned outward)."""
    CAPPED = "capped"
    """Closed by filling holes no wider than `close_holes_mm`."""
    SHEET = "sheet"
    """Open: a surface without thickness, given one."""


class ZoneMeaning(StrEnum):
    """What a zone of the job file asks of the stations."""

    NO_CARRY = "no carry"
    """May change size, may not be exaggerated."""
    NO_CHANGE = "no change"
    """May not be touched at all."""
    PRECIOUS = "precious"
    """Keep seams, prop marks and vents away; carry only when released."""
    LETTERS = "letters"
    """Lettering: read measures its strokes. It asks nothing of other stations."""


class Make(StrEnum):
    """Which master is made of a piece."""

    PLAIN = "plain"
    """The sculpture as it is, at its size."""
    CARRIED = "carried"
    """With what print, mould, cast and paint will take put back beforehand, as far as it goes."""


class Basis(StrEnum):
    """Where a figure comes from. Nothing that rests on an uncalibrated figure may be `stop`."""

    STANDARD = "standard"
    PUBLISHED = "published source"
    PRACTICE = "common practice, no source"
    MEMORY = "from memory"
    DEFAULT = "wide default: ask the supplier"
    MAKER = "the maker's own figure"
    GAUGE = "fitted to the maker's gauge"
