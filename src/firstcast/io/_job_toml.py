"""A job file's text as tables; where it is no TOML, the line and what its writer likely meant."""

import re
import tomllib
from pathlib import Path
from typing import Any

from firstcast.errors import JobError
from firstcast.io._job_models import LISTED_TABLES

LARGEST_JOB_BYTES = 1_000_000
"""A job file is written by hand: anything larger is another file."""
DEEPEST = 20
"""Tables in tables: the models go five deep, and what is far deeper is no job file."""
SHOWN = 60
"""How much of a faulty line is shown."""

_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_NEVER_CLOSED = ("Unterminated string", 'Expected "\'"', "Expected \"'''\"")
_OPEN_QUOTE = re.compile(r"""[^#"']*('[^']*|("{3}|'{3})(?!.*\2).*)$""")
"""A line on which a quote opens that the same line does not close."""
_SLIPS: tuple[tuple[re.Pattern[str], str], ...] = (
    (re.compile(r"[“”„‟«»‘’‚]"), 'Write straight quotes: "…".'),
    (re.compile(r"^\s*[\w.-]+\s*:"), "Write = between a key and its value."),
    (re.compile(r"=\s*="), "Write one = between a key and its value."),
    (re.compile(r"//|/\*"), "A remark begins with #."),
    (re.compile(r"=\s*[-+]?\d+\s*:\s*\d"), "A scale stands as one number: 56 for 1:56."),
    (re.compile(r"=\s*[-+]?\d+,\d"), "Write a point in numbers, not a comma: 0.5."),
    (
        re.compile(r"=\s*[-+]?[\d.]+\s*(mm|cm|m|inch|in|ft|%|°|deg)\b|=\s*[-+]?[\d.]+\s*[%°\"']"),
        "Leave the unit away: the key's name tells it.",
    ),
    (
        re.compile(r"=\s*(True|TRUE|False|FALSE|yes|Yes|no|No|on|off)\b"),
        "Write true or false, in small letters.",
    ),
    (re.compile(r"=\s*(None|null|nil)?\s*(#.*)?$"), "Give a value, or take the key out."),
    (re.compile(r"=\s*\+?0\d"), "Leave the zero in front of the number away."),
    (re.compile(r",\s*\}"), "Leave the comma before } away."),
    (re.compile(r"=\s*\[?\s*[^\W\d]"), 'Put words in quotes: "…".'),
)
"""What a faulty line looks like, and the mend: the first that fits, of slips that were tried by hand."""
_REASONS = {
    "Unclosed array": "Put a comma between the entries of a list, and close it with ].",
    "Unclosed inline": "Put a comma between the keys in { }, and close it with } on the same line.",
    "Expected ']": "Write a table's name as [name], a list's as [[name]].",
    "Expected '='": "Write a key, = and its value.",
}
"""What tomllib says where the line tells nothing: its beginning, and the mend."""


def read_tables(path: Path) -> dict[str, Any]:
    """The tables of a job file.

    A byte order mark at its head and Windows line ends are no fault.

    Raises
    ------
    JobError
        There is no such file, it can't be read, or it is not TOML in UTF-8.
    """
    text = _decoded(_content(path), path.name)
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _syntax_error(error, text, path.name) from None
    except (RecursionError, ValueError):
        # tomllib's own: brackets without end, or numbers of thousands of digits.
        tables = None
    if tables is None or _deeper_than(tables, DEEPEST):
        raise JobError(
            "brackets, dotted keys or digits go on without end", where=path.name, mend="Name the job file."
        )
    return tables


def _content(path: Path) -> bytes:
    try:
        if path.stat().st_size > LARGEST_JOB_BYTES:
            raise JobError(
                f"it has more than {LARGEST_JOB_BYTES} bytes", where=path.name, mend="Name the job file."
            )
        return path.read_bytes()
    except FileNotFoundError:
        raise JobError(
            f"there is no job file {path.name} in {path.parent}",
            where=path.name,
            mend="Write one with 'firstcast new', or name the right one.",
        ) from None
    except OSError as error:
        raise JobError(
            f"it can't be read ({error.strerror})", where=path.name, mend="Check the path and its rights."
        ) from None


def _decoded(content: bytes, name: str) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobError("it is saved as UTF-16", where=name, mend="Save the file as UTF-8.")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobError(
            f"line {line} has a letter that is not saved as UTF-8 (byte {error.start} of the file)",
            where=name,
            mend="Save the file as UTF-8.",
        ) from None


def _syntax_error(error: tomllib.TOMLDecodeError, text: str, name: str) -> JobError:
    """The fault as its line and the likeliest mend."""
    place = _PLACE.search(str(error))
    reason = _PLACE.sub("", str(error))
    lines = text.split("\n")
    number, column = _line_and_column(place, reason, lines)
    line = lines[number - 1]
    what = f"line {number} is not TOML: {_shown(line)}"
    if reason == "Unclosed array" and "[" not in line[: column - 1]:
        what = f"a list that begins above line {number} is not closed there: {_shown(line)}"
    return JobError(what, where=name, mend=_mend(reason, line))


def _line_and_column(place: re.Match[str] | None, reason: str, lines: list[str]) -> tuple[int, int]:
    """Where the fault is, from 1; a quote that nothing closes is sought, since it is told of the file's end."""
    if place and place[1]:
        return min(int(place[1]), len(lines)), int(place[2])
    if reason in _NEVER_CLOSED:
        for number, line in enumerate(lines, start=1):
            if _OPEN_QUOTE.match(line):
                return number, 1
    return len(lines), len(lines[-1]) + 1


def _shown(line: str) -> str:
    """A line of the file as a message can hold it: short, and nothing that a terminal would obey."""
    plain = "".join(c if c.isprintable() else "\N{REPLACEMENT CHARACTER}" for c in line.strip())
    return plain if len(plain) <= SHOWN else plain[: SHOWN - 1] + "…"


def _mend(reason: str, line: str) -> str:
    if reason.startswith(("Cannot declare", "Cannot overwrite", "Cannot mutate")):
        return _mend_of_doubles(line)
    if "character '\\n'" in reason or reason in _NEVER_CLOSED:
        return "Close the quotes, on the line on which they begin if they are single."
    if "\\" in line and reason.startswith(("Unescaped", "Invalid hex", "Escaped character")):
        return "Write / between folders, also on Windows."
    slip = next((mend for pattern, mend in _SLIPS if pattern.search(line)), None)
    if slip is not None:
        return slip
    for beginning, mend in _REASONS.items():
        if reason.startswith(beginning):
            return mend
    return f"Correct that line ({reason[:1].lower()}{reason[1:]})."


def _mend_of_doubles(line: str) -> str:
    """For what stands there twice: a listed table wants double brackets, others are joined."""
    table = re.match(r"\s*\[+\s*([\w-]+)", line)
    if table and table[1] in LISTED_TABLES:
        return f"Write [[{table[1]}]], in double brackets, above each."
    if table:
        return f"[{table[1]}] is there twice: put all its keys below one of them."
    return "The key is there twice: keep one."


def _deeper_than(tables: Any, depth: int) -> bool:
    """Whether tables and lists are nested deeper; level by level, so that depth itself does no harm."""
    level = [tables]
    for _ in range(depth):
        level = [
            inner
            for outer in level
            if isinstance(outer, dict | list)
            for inner in (outer.values() if isinstance(outer, dict) else outer)
        ]
        if not level:
            return False
    return any(isinstance(left, dict | list) for left in level)
