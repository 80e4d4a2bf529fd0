"""The table of measurements of a gauge: written empty, read filled in.

    # firstcast gauge
    # printer = mono-35
    # ...
    id,what,nominal_mm,measured_mm,plus_minus_mm
    length-x-1,"the plaque, edge to edge, along x",37.8,37.68,0.02

Spreadsheets may have saved it with semicolons or tabs and decimal commas. Rows without a measure are left out.
"""

import csv
import io
import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

from firstcast.errors import FileError
from firstcast.gauge_design import LEAST_STEPS, GaugeDesign, GaugeKind, Spot
from firstcast.io.write import write_whole
from firstcast.process.figures import nearest_word
from firstcast.process.gauge import Gauge, Reading

COLUMNS = ("id", "what", "nominal_mm", "measured_mm", "plus_minus_mm")
LARGEST_BYTES = 1_000_000
MOST_OFF_MM, MOST_OFF_RATIO = 1.0, 0.1
"""Further from nominal than both of these a reading is a slip of the pen."""
LARGEST_ERROR_MM = 1.0

_SETTING = re.compile(r'^\s*"?\s*#\s*([a-z_]+)\s*=\s*(.*?)["\s;,]*$')
_HEAD = "# firstcast gauge"
_SETTINGS = (
    "printer",
    "resin",
    "pixel_x_mm",
    "pixel_y_mm",
    "plaque_x_px",
    "plaque_y_px",
    "layer_mm",
    "grey_edges",
)


def write_template(path: Path, design: GaugeDesign) -> None:
    """The table of a gauge, one row per measurement, `measured_mm` empty.

    Raises
    ------
    FileError
        It can't be written.
    """
    text = io.StringIO(newline="")
    settings = {
        "printer": design.printer,
        "resin": design.resin,
        "pixel_x_mm": f"{design.pixel_mm[0]:g}",
        "pixel_y_mm": f"{design.pixel_mm[1]:g}",
        "plaque_x_px": str(design.plaque_px[0]),
        "plaque_y_px": str(design.plaque_px[1]),
        "layer_mm": f"{design.layer_mm:g}",
        "grey_edges": "no",
    }
    text.write(f"{_HEAD}\n")
    text.writelines(f"# {key} = {value}\n" for key, value in settings.items())
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(COLUMNS)
    for spot in design.spots():
        nominal = "" if spot.nominal_mm is None else f"{spot.nominal_mm:.6g}"
        rows.writerow((spot.id, spot.what, nominal, "", f"{spot.error_mm:g}" if spot.error_mm else ""))
    write_whole(path, lambda stream: stream.write(text.getvalue().encode()))


def read_measured(path: Path) -> Gauge:
    """What was measured on a gauge.

    Raises
    ------
    FileError
        The file can't be read, is no such table, or a row can't be: which line, what is wrong, the mend.
    """
    text = _text(path)
    table = _Table(path, text)
    settings = table.settings()
    design = _design(table, settings)
    spots = {spot.id: spot for spot in design.spots()}
    readings: dict[str, Reading] = {}
    for line, cells in table.rows():
        spot = spots.get(cells["id"])
        if spot is None:
            near = nearest_word(cells["id"], spots)
            mend = near if near.startswith("Did") else "Keep the ids as 'firstcast gauge' wrote them."
            table.fault(line, f"there is no measurement '{cells['id']}'", mend)
        if not cells["measured_mm"]:
            continue
        if spot.id in readings:
            table.fault(line, f"{spot.id} is measured twice", "Keep one row, or the mean of the two.")
        readings[spot.id] = _reading(table, line, cells, spot, design)
    if not readings:
        raise FileError(
            "nothing is measured in it",
            where=path.name,
            mend="Fill in measured_mm, of as many rows as you can.",
        )
    return Gauge(
        printer=design.printer,
        resin=design.resin,
        pixel_mm=design.pixel_mm,
        layer_mm=design.layer_mm,
        relief_layers=design.relief_layers,
        grey_edges=settings["grey_edges"].lower() == "yes",
        readings=tuple(readings.values()),
    )


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_BYTES:
            raise FileError(
                f"it has more than {LARGEST_BYTES} bytes",
                where=path.name,
                mend="Name the table of the gauge.",
            )
        return path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise FileError(
            f"it can't be read ({error.strerror})",
            where=str(path),
            mend="Name the table of a gauge: 'firstcast gauge FOLDER' writes it.",
        ) from None
    except UnicodeDecodeError:
        raise FileError("it is not saved as UTF-8", where=path.name, mend="Save it as CSV UTF-8.") from None


@dataclass(frozen=True)
class _Table:
    """The text of a table, and how it is taken apart."""

    path: Path
    text: str

    def fault(self, line: int, what: str, mend: str) -> NoReturn:
        """Refuse the table for what stands on a line."""
        raise FileError(what, where=f"{self.path.name}, line {line}", mend=mend)

    def settings(self) -> dict[str, str]:
        """What the head says, all of it."""
        found: dict[str, str] = {}
        for line in self.text.splitlines():
            named = _SETTING.match(line)
            if named:
                found[named[1]] = named[2].strip()
        lacks = [key for key in _SETTINGS if key not in found]
        if lacks:
            raise FileError(
                f"its head does not say {', '.join(lacks)}",
                where=self.path.name,
                mend="Keep the lines that begin with #, as 'firstcast gauge' wrote them.",
            )
        if found["grey_edges"].lower() not in ("yes", "no"):
            raise FileError(
                f"grey_edges is '{found['grey_edges']}'", where=self.path.name, mend="Write yes or no."
            )
        return found

    def rows(self) -> Iterator[tuple[int, Mapping[str, str]]]:
        """Each row below the heading, with its line number."""
        lines = self.text.splitlines()
        at = next((n for n, line in enumerate(lines) if line.lstrip('" ').lower().startswith("id")), None)
        if at is None:
            raise FileError(
                "it has no heading id, what, nominal_mm, ...",
                where=self.path.name,
                mend="Keep the heading as 'firstcast gauge' wrote it.",
            )
        mark = max(",;\t", key=lines[at].count)
        heading = [cell.strip() for cell in next(csv.reader([lines[at]], delimiter=mark))]
        lacks = [name for name in COLUMNS if name not in heading]
        if lacks:
            self.fault(at + 1, f"there is no column {', '.join(lacks)}", f"Keep all of {', '.join(COLUMNS)}.")
        reader = csv.reader(lines[at + 1 :], delimiter=mark)
        for cells in reader:
            line = at + 1 + reader.line_num
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            if len(cells) < len(heading):
                self.fault(
                    line,
                    f"it has {len(cells)} of {len(heading)} columns",
                    "Put text with commas in quotes, and leave no column out.",
                )
            if any(cell.strip() for cell in cells[len(heading) :]):
                self.fault(
                    line, "it has more columns than the heading", "Write a point in numbers, not a comma."
                )
            yield line, {name: cell.strip() for name, cell in zip(heading, cells, strict=False)}

    def number(self, line: int, cell: str, column: str) -> float:
        """A cell as a number; a decimal comma is read as a point."""
        try:
            value = float(cell.replace(",", ".", 1))
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            self.fault(line, f"{column} is '{cell}', no number", "Give millimetres, without the unit.")
        return value


def _design(table: _Table, settings: Mapping[str, str]) -> GaugeDesign:
    numbers: dict[str, float] = {}
    for key in _SETTINGS[2:7]:
        try:
            numbers[key] = float(settings[key].replace(",", "."))
        except ValueError:
            numbers[key] = math.nan
        if not 0 < numbers[key] < 1e5:
            raise FileError(
                f"{key} is '{settings[key]}'",
                where=table.path.name,
                mend="Keep the lines that begin with #, as 'firstcast gauge' wrote them.",
            )
    return GaugeDesign(
        settings["printer"],
        settings["resin"],
        (numbers["pixel_x_mm"], numbers["pixel_y_mm"]),
        numbers["layer_mm"],
        (round(numbers["plaque_x_px"]), round(numbers["plaque_y_px"])),
    )


def _reading(table: _Table, line: int, cells: Mapping[str, str], spot: Spot, design: GaugeDesign) -> Reading:
    measured = table.number(line, cells["measured_mm"], "measured_mm")
    if measured <= 0:
        table.fault(
            line,
            f"measured_mm is {measured:g}",
            "Leave it empty if there is nothing to measure; lengths are above 0.",
        )
    if spot.kind is GaugeKind.LEAST:
        steps = design.least_steps_mm(spot.group)
        nearest = min(steps, key=lambda step: abs(step - measured))
        if abs(nearest - measured) > 0.01 * nearest + 0.0006:
            said = ", ".join(f"{step:g}" for step in steps)
            table.fault(
                line,
                f"{measured:g} mm is none of the row's sizes",
                f"Give the nominal size of the least that is there: one of {said}.",
            )
        return Reading(spot.id, spot.kind, spot.axis, LEAST_STEPS[spot.group][steps.index(nearest)], 0.0, nearest, nearest, spot.group)  # fmt: skip
    assert spot.nominal_mm is not None
    nominal = table.number(line, cells["nominal_mm"], "nominal_mm")
    if abs(nominal - spot.nominal_mm) > 5e-4:
        table.fault(
            line,
            f"nominal_mm is {nominal:g}, on the plaque it is {spot.nominal_mm:g}",
            "Put it back: the measure belongs into measured_mm.",
        )
    if abs(measured - nominal) > max(MOST_OFF_MM, MOST_OFF_RATIO * nominal):
        table.fault(
            line,
            f"measured {measured:g} mm, nominal {nominal:g}",
            "Look for a slip of the pen, or leave the row empty.",
        )
    return Reading(spot.id, spot.kind, spot.axis, int(spot.id.rpartition("-")[2]), spot.nominal_mm, measured, _sd(table, line, cells))  # fmt: skip


def _sd(table: _Table, line: int, cells: Mapping[str, str]) -> float:
    if not cells["plus_minus_mm"]:
        table.fault(line, "plus_minus_mm is empty", "Say within what the reading is right, 19 times of 20.")
    error = table.number(line, cells["plus_minus_mm"], "plus_minus_mm")
    if not 0 < error <= LARGEST_ERROR_MM:
        table.fault(
            line, f"plus_minus_mm is {error:g}", f"Give millimetres above 0, up to {LARGEST_ERROR_MM:g}."
        )
    return 0.5 * error
