"""Zones are told with the stations that heed them: once each, and no louder than they deserve."""

import json
from dataclasses import replace

from firstcast import cli
from firstcast.io.job import SettingsFor
from firstcast.io.unheeded import unheeded
from firstcast.stations import carry_settings, mould_settings
from firstcast.vocabulary import Verdict
from small_job import write_small_job
from watchman_job import GOOD, read

ZONE = '[[zone]]\nname = "{}"\nmeaning = "{}"\npart = "body"\n'


def test_a_job_without_zones_is_told_nothing(folder):
    text = GOOD.partition("[[zone]]")[0]
    assert unheeded(read(folder, text)) == ()


def test_each_meaning_is_told_once_and_only_what_may_not_hold_asks_for_a_look(folder):
    more = [ZONE.format(*zone) for zone in (("eye", "precious"), ("hem", "no change"), ("belt", "no carry"))]
    found = {finding.code: finding for finding in unheeded(read(folder, GOOD + "".join(more)))}
    assert {code: finding.verdict for code, finding in found.items()} == {
        "zone-no-carry": Verdict.SOUND,
        "zone-no-change": Verdict.WATCH,
        "zone-precious": Verdict.SOUND,
    }
    assert "Zones 'face', 'eye' (precious)" in found["zone-precious"].says
    assert "'hem'" in found["zone-no-change"].says
    assert all(finding.mend.endswith(".") for finding in found.values())


def test_it_is_told_what_carry_heeds_and_what_the_others_do_there(folder):
    more = [ZONE.format(*zone) for zone in (("hem", "no change"), ("belt", "no carry"))]
    says = {finding.code: finding.says for finding in unheeded(read(folder, GOOD + "".join(more)))}
    assert "'belt' (no carry): carry corrects only size there" in says["zone-no-carry"]
    assert "[carry] release" in says["zone-precious"]
    assert "only the tab might stand there" in says["zone-precious"]
    assert (
        "carry moves nothing and mould fills nothing there, but no other station heeds it yet"
        in says["zone-no-change"]
    )
    assert all(work in says["zone-no-change"] for work in ("mended", "fused", "tab", "reduced"))


def test_the_report_of_a_run_tells_them(tmp_path):
    zone = '[[zone]]\nname = "top"\nmeaning = "no change"\npart = "knob"\n\n[process]'
    job = write_small_job(tmp_path, changes={"[process]": zone})
    assert cli.main(["run", "--quiet", str(job)]) == cli.DONE
    report = json.loads((job / "report.json").read_text(encoding="utf-8"))
    told = {finding["code"]: finding["verdict"] for finding in report["findings"]}
    assert told["zone-no-change"] == "watch"


def test_a_release_of_no_precious_zone_is_told_for_every_station_that_releases(folder):
    zones = ZONE.format("eyes", "precious") + ZONE.format("belt", "no carry")
    job = read(folder, GOOD + zones)
    one = SettingsFor("mould", "piece", "body", mould_settings.Settings(release=("hat",)))
    job = replace(
        job,
        settings={
            **job.settings,
            "carry": carry_settings.Settings(release=("eyes", "eys")),
            "mould": mould_settings.Settings(release=("belt", "eyes")),
        },
        exceptions=(one,),
    )
    found = {finding.code: finding.says for finding in unheeded(job)}
    assert "releases 'eys', which" in found["unknown-release-carry"]
    # a zone of another meaning holds whatever is released; what is for one piece only is looked at too
    assert "releases 'belt', 'hat', which" in found["unknown-release-mould"]
