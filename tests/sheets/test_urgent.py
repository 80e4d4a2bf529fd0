import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from firstcast.findings import Finding
from firstcast.report import finding_record
from firstcast.sheets.urgent import by_urgency, most_urgent, note_of, said_value
from firstcast.vocabulary import Verdict


def finding(
    code="thin-wall", verdict=Verdict.STOP, part="arm", measured=0.4, accepted="", place=(1.0, 2.0, 3.0)
):
    return Finding(
        "fuse", code, verdict, part, "Wall 0.4 mm.", "Thicken it.", place, measured, 0.6, accepted=accepted
    )


def test_a_finding_and_its_record_make_the_same_note():
    made = finding(accepted="known")
    assert note_of(made) == note_of(finding_record(made))
    assert note_of(note_of(made)) == note_of(made)


def test_graver_first_then_standing_then_the_worst_of_each_kind():
    some = [
        finding(verdict=Verdict.SOUND, code="seen"),
        finding(verdict=Verdict.WATCH, code="gap", measured=0.5),
        finding(measured=0.55, place=(9.0, 0.0, 0.0)),
        finding(measured=0.10),
        finding(code="hole", measured=0.59),
        finding(accepted="kept as it is", place=(20.0, 0.0, 0.0)),
    ]
    said = [(note.shown.value, note.code, bool(note.accepted), note.measured) for note in by_urgency(some)]
    assert said == [
        ("stop", "thin-wall", False, 0.10),
        ("stop", "hole", False, 0.59),
        ("stop", "thin-wall", False, 0.55),
        ("watch", "gap", False, 0.5),
        ("watch", "thin-wall", True, 0.4),
        ("sound", "seen", False, 0.4),
    ]


@given(order=st.permutations(range(12)))
def test_the_order_does_not_depend_on_how_findings_arrive(order):
    rng = np.random.default_rng(5521)
    some = [
        finding(code=f"code-{k % 3}", measured=float(m), place=(10.0 * k, 0.0, 0.0))
        for k, m in enumerate(rng.uniform(0.1, 1, 12))
    ]
    expected = [note.id for note in by_urgency(some)]
    assert [note.id for note in by_urgency([some[k] for k in order])] == expected


def test_ten_are_shown_and_the_rest_counted():
    some = [finding(place=(10.0 * k, 0.0, 0.0)) for k in range(17)]
    notes, folded = most_urgent(some)
    assert (len(notes), folded) == (10, 7)
    assert most_urgent([])[1] == 0


def test_figures_are_said_with_their_unit():
    assert said_value(20662) == "20\u00a0662"
    assert said_value(0.42, "mm") == "0.42 mm"
    assert said_value(3, "count") == "3"
    assert said_value(1.8, "ratio") == "1.8"
    assert said_value(0.00002, "mm") == "0.02 µm"
    assert said_value(0.5, "mm3") == "0.5 mm³"
