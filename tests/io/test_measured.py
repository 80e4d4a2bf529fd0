"""The table of a gauge: what is written is read; what can't be is refused by line, with the mend."""

import csv
import io

import pytest

from firstcast.errors import FileError
from firstcast.gauge_design import GaugeDesign, GaugeKind
from firstcast.io.measured import read_measured, write_template

DESIGN = GaugeDesign("mono-19x24", "tough", (0.019, 0.024), 0.03, (2114, 918))


@pytest.fixture
def table(tmp_path):
    path = tmp_path / "measured.csv"
    write_template(path, DESIGN)
    return path


def fill(path, **cells):
    """Put words into rows: fill(path, length_x_1="40.1"), or a dict of columns."""
    lines = path.read_text(encoding="utf-8").splitlines()
    head = [line for line in lines if line.startswith("#")]
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    for row in rows[1:]:
        given = cells.get(row[0].replace("-", "_"))
        for column, word in (given if isinstance(given, dict) else {"measured_mm": given or ""}).items():
            row[rows[0].index(column)] = word
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text("\n".join(head) + "\n" + text.getvalue(), encoding="utf-8")


def test_a_row_per_measurement_and_nothing_measured_yet(table):
    lines = table.read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert [row["id"] for row in rows] == [spot.id for spot in DESIGN.spots()]
    assert list(rows[0]) == ["id", "what", "nominal_mm", "measured_mm", "plus_minus_mm"]
    assert {row["measured_mm"] for row in rows} == {""}
    assert len({row["id"] for row in rows}) == len(rows)


def test_what_is_filled_in_is_read(table):
    fill(
        table,
        length_x_1="40.05",
        ridge_y_8={"measured_mm": "0.25", "plus_minus_mm": "0.01"},
        least_pin="0.076",
    )
    gauge = read_measured(table)
    assert (gauge.printer, gauge.resin, gauge.pixel_mm, gauge.layer_mm) == (
        "mono-19x24",
        "tough",
        (0.019, 0.024),
        0.03,
    )
    assert not gauge.grey_edges
    assert gauge.relief_layers == DESIGN.relief_layers
    by_id = {reading.id: reading for reading in gauge.readings}
    assert set(by_id) == {"length-x-1", "ridge-y-8", "least-pin"}
    assert by_id["length-x-1"].nominal_mm == pytest.approx(2114 * 0.019)
    ridge = by_id["ridge-y-8"]
    assert (ridge.kind, ridge.axis, ridge.count, ridge.measured_mm, ridge.sd_mm) == (
        GaugeKind.RIDGE,
        "y",
        8,
        0.25,
        0.005,
    )
    assert (by_id["least-pin"].row, by_id["least-pin"].count) == ("pin", 4)


@pytest.mark.parametrize("mark", [";", "\t"])
def test_a_spreadsheet_with_decimal_commas_is_read(table, mark):
    fill(table, length_x_1="40.05", bridge_z_1="0.12")
    expected = read_measured(table)
    lines = table.read_text(encoding="utf-8").splitlines()
    rows = list(csv.reader(line for line in lines if not line.startswith("#")))
    text = io.StringIO()
    writer = csv.writer(text, delimiter=mark, lineterminator="\r\n")
    # Some spreadsheets also pad the lines of the head with empty cells.
    text.write("".join(f"{line.replace('.', ',')}{mark * 4}\r\n" for line in lines if line.startswith("#")))
    writer.writerows([[*row[:2], *(cell.replace(".", ",") for cell in row[2:])] for row in rows])
    table.write_bytes(b"\xef\xbb\xbf" + text.getvalue().encode())
    assert read_measured(table) == expected


def test_grey_edges_are_read(table):
    fill(table, length_x_1="40.05")
    table.write_text(
        table.read_text(encoding="utf-8").replace("grey_edges = no", "grey_edges = Yes"), encoding="utf-8"
    )
    assert read_measured(table).grey_edges


FAULTS = [
    ({"length_x_1": "forty"}, "line 11", "measured_mm is 'forty', no number", "without the unit"),
    ({"length_x_1": "40.1 mm"}, "line 11", "no number", "without the unit"),
    ({"length_x_1": "nan"}, "line 11", "no number", "millimetres"),
    ({"length_x_2": "-3"}, "line 12", "measured_mm is -3", "Leave it empty"),
    ({"length_x_2": "0"}, "line 12", "measured_mm is 0", "Leave it empty"),
    ({"length_x_1": "4.005"}, "line 11", "measured 4.005 mm, nominal 40.166", "slip of the pen"),
    ({"length_x_1": {"measured_mm": "40", "nominal_mm": "40"}}, "line 11", "nominal_mm is 40", "Put it back"),
    ({"length_x_1": {"measured_mm": "40", "nominal_mm": ""}}, "line 11", "nominal_mm is ''", "millimetres"),
    (
        {"length_x_1": {"measured_mm": "40", "plus_minus_mm": ""}},
        "line 11",
        "plus_minus_mm is empty",
        "19 times",
    ),
    ({"length_x_1": {"measured_mm": "40", "plus_minus_mm": "0"}}, "line 11", "plus_minus_mm is 0", "above 0"),
    ({"length_x_1": {"measured_mm": "40", "plus_minus_mm": "5"}}, "line 11", "plus_minus_mm is 5", "up to 1"),
    (
        {"length_x_2": {"id": "length-x-1", "measured_mm": "9.9"}},
        "line 12",
        "nominal_mm is 9.994",
        "Put it back",
    ),
    (
        {"length_x_2": {"id": "lenght-x-2", "measured_mm": "9.9"}},
        "line 12",
        "no measurement 'lenght-x-2'",
        "length-x-2",
    ),
    ({"least_pin": "0.08"}, "", "none of the row's sizes", "one of 0.038, 0.057, 0.076"),
]


@pytest.mark.parametrize(("cells", "line", "what", "mend"), FAULTS)
def test_a_row_that_cannot_be_is_refused_by_its_line(table, cells, line, what, mend):
    fill(table, **cells)
    with pytest.raises(FileError) as refusal:
        read_measured(table)
    assert line in refusal.value.where
    assert "measured.csv" in refusal.value.where
    assert what in refusal.value.what
    assert mend in refusal.value.mend


def test_the_line_that_is_named_is_the_files_own(table):
    fill(table, bridge_z_2="x")
    lines = table.read_text(encoding="utf-8").splitlines()
    number = next(n for n, line in enumerate(lines, start=1) if line.startswith("bridge-z-2"))
    with pytest.raises(FileError, match=f"line {number}: "):
        read_measured(table)


def changed(table, old, new):
    text = table.read_text(encoding="utf-8")
    assert old in text
    table.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("# layer_mm = 0.03\n", "", "does not say layer_mm"),
        ("layer_mm = 0.03", "layer_mm = thin", "layer_mm is 'thin'"),
        ("pixel_x_mm = 0.019", "pixel_x_mm = 0", "pixel_x_mm is '0'"),
        ("grey_edges = no", "grey_edges = maybe", "grey_edges is 'maybe'"),
        ("id,what,nominal_mm,measured_mm,plus_minus_mm\n", "", "no heading"),
        ("nominal_mm,measured_mm", "nominal,measured_mm", "no column nominal_mm"),
        (
            'inner-x-1,"between the two lugs, along x",',
            "inner-x-1,between,the,",
            "more columns than the heading",
        ),
        ('"over the two lugs, along y",', '"over the two lugs, along y";', "it has 4 of 5 columns"),
        ("inner-y-1,", "row-nine,", "Keep the ids"),
    ],
)
def test_a_table_that_is_no_table_is_refused(table, old, new, says):
    fill(table, length_y_1="22.0")
    changed(table, old, new)
    with pytest.raises(FileError, match=says):
        read_measured(table)


def test_the_same_row_twice_is_refused(table):
    fill(table, length_x_1="40.1")
    text = table.read_text(encoding="utf-8")
    row = next(line for line in text.splitlines() if line.startswith("length-x-1"))
    table.write_text(f"{text}{row}\n", encoding="utf-8")
    with pytest.raises(FileError, match="length-x-1 is measured twice"):
        read_measured(table)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (None, "can't be read"),
        (b"\xff\xfea\x00", "not saved as UTF-8"),
        (b"", "does not say"),
        (b"x" * 1_000_001, "more than"),
    ],
    ids=["missing", "utf-16", "empty", "large"],
)
def test_what_is_no_text_is_refused(tmp_path, content, says):
    path = tmp_path / "measured.csv"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(FileError, match=says):
        read_measured(path)


def test_a_table_with_nothing_in_it_is_refused(table):
    with pytest.raises(FileError, match="nothing is measured"):
        read_measured(table)
