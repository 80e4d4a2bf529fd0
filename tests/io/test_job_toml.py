"""Text that is no TOML: the line is shown, and the mend fits what was likely meant."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firstcast.errors import JobError
from firstcast.io._job_toml import read_tables
from watchman_job import GOOD, read, refused

SLIPS = [
    # what stands in the file, what was slipped in on the faulty line, the mend
    ("total_height_mm = 54", "total_height_mm = 54,5", "a point in numbers"),
    ("total_height_mm = 54", "total_height_mm = 54 mm", "Leave the unit away"),
    ("total_height_mm = 54", "total_height_mm = 54mm", "Leave the unit away"),
    ("total_height_mm = 54", "total_height_mm = 54 %", "Leave the unit away"),
    ("total_height_mm = 54", "total_height_mm = 054", "the zero in front"),
    ("total_height_mm = 54", "total_height_mm = 1:56", "56 for 1:56"),
    ("total_height_mm = 54", "total_height_mm: 54", "Write = between"),
    ("total_height_mm = 54", "total_height_mm == 54", "Write one ="),
    ("total_height_mm = 54", "total_height_mm =", "Give a value"),
    ("total_height_mm = 54", "total_height_mm = none # yet", "Put words in quotes"),
    ("total_height_mm = 54", "total_height_mm = None", "Give a value"),
    ("total_height_mm = 54", "total_height_mm", "Write a key, = and its value."),
    ("total_height_mm = 54", "total_height_mm = 54 // about", "begins with #"),
    ("total_height_mm = 54", "up = 'z'\nup = 'y'", "The key is there twice"),
    ("wanted = 200", "wanted = True", "true or false, in small letters"),
    ('note = "second try"', "note = second try", "Put words in quotes"),
    ('note = "second try"', "note = “second try”", "straight quotes"),
    ('note = "second try"', 'note = "second try', "Close the quotes"),
    ('note = "second try"', "note = 'second try", "Close the quotes"),
    ('"../sculpture"', '"..\\sculpture"', "Write / between folders"),
    ('"../sculpture"', '"C:\\Users\\me"', "Write / between folders"),
    ('["body", "hem*"]', '["body" "hem*"]', "Put a comma between the entries"),
    ('["body", "hem*"]', '[body, "hem*"]', "Put words in quotes"),
    ('lantern/*"]\n\n', 'lantern/*"]\n[piece]', "Write [[piece]]"),
    ('note = "second try"', 'note = """second try', "Close the quotes"),
    ("[process]", "[size]", "[size] is there twice"),
    ("[process]", "[process", "Write a table's name as [name]"),
    ("height_mm = 30 }", "height_mm = 30", "close it with } on the same line"),
    ("height_mm = 30 }", "height_mm = 30 }}", "Correct that line (expected newline"),
    ("height_mm = 30 }", "height_mm = 30, }", "Leave the comma before }"),
]


@pytest.mark.parametrize(("old", "new", "mend"), SLIPS, ids=[slip[1] for slip in SLIPS])
def test_each_slip_is_shown_with_its_line_and_its_mend(folder, old, new, mend):
    head, found, _ = GOOD.partition(old)
    assert found
    faulty = 1 + (head + new).count("\n")
    error = refused(folder, GOOD.replace(old, new, 1))
    assert error.where == "job.toml"
    assert f"line {faulty} is not TOML: " in error.what
    assert mend in error.mend, str(error)


def test_the_faulty_line_itself_is_shown(folder):
    assert refused(folder, "[job]\nname = 3 x").what == "line 2 is not TOML: name = 3 x"
    assert refused(folder, f"[job]\nname = {'x' * 99}").what.endswith("xxx…")
    error = refused(folder, '[job]\nname = "\x1b[31m"')
    assert "\x1b" not in str(error)


def test_a_list_that_is_never_closed_is_looked_for_above(folder):
    error = refused(folder, '[job]\nx = [\n"a"\n"b"\n]')
    assert error.what == 'a list that begins above line 4 is not closed there: "b"'
    assert error.mend.startswith("Put a comma between")
    error = refused(folder, '[job]\nx = ["a"\n\n[size]\n')
    assert error.what == "a list that begins above line 4 is not closed there: [size]"


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_marks_and_letters_of_any_system_are_no_fault(folder, ends, mark):
    text = GOOD.replace("watchman", "Wächter 鷺").replace("\n", ends)
    (folder / "job.toml").write_bytes(mark + text.encode())
    tables = read_tables(folder / "job.toml")
    assert tables["job"]["name"] == "Wächter 鷺"
    assert read(folder, GOOD).name == "watchman"


@pytest.mark.parametrize(
    "text",
    ["x = " + "[" * 5000, "x = " + "{x = " * 3000, "job" + ".x" * 3000 + " = 1", f"wanted = {'9' * 9000}"],
    ids=["brackets", "tables", "dotted", "digits"],
)
def test_what_goes_on_without_end_is_refused(folder, text):
    assert "without end" in refused(folder, text).what


@given(st.text(alphabet="[]{}=.,:\"'\\\n #ax1-é\u2028\x00", max_size=60))
def test_any_signs_are_tables_or_a_job_error_with_a_mend(tmp_path_factory, text):
    path = tmp_path_factory.getbasetemp() / "signs.toml"
    path.write_bytes(text.encode())
    told = None
    try:
        read_tables(path)
    except JobError as error:
        told = error
    assert told is None or (told.mend.endswith((".", "?")) and str(told).isprintable())
