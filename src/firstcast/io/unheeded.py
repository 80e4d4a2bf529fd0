"""What a job file asks that no station does yet: said, so that nobody takes silence for heed."""

from collections.abc import Sequence

from firstcast.findings import Finding
from firstcast.geometry.zones import Zone
from firstcast.io.job import Job
from firstcast.vocabulary import Verdict, ZoneMeaning

_NOTHING_DOES = {
    ZoneMeaning.NO_CARRY: "no station exaggerates detail yet",
    ZoneMeaning.PRECIOUS: "no station makes seams, prop marks or vents yet; only the tab might stand there",
}
"""Meanings that hold by themselves for now, and why."""


def unheeded(job: Job) -> tuple[Finding, ...]:
    """One finding per meaning of zones, and one for all orders to mend.

    `sound` where what is asked holds by itself, since nothing works against it yet; `watch` where it may not.
    """
    findings = [
        _about_zones(meaning, zones)
        for meaning in ZoneMeaning
        if (zones := [zone for zone in job.zones if zone.meaning is meaning])
    ]
    return (*findings, *_about_mends(job))


def _about_zones(meaning: ZoneMeaning, zones: Sequence[Zone]) -> Finding:
    named = ", ".join(f"'{zone.name}'" for zone in zones)
    which = f"Zone{'s' if len(zones) > 1 else ''} {named} ({meaning.value})"
    if meaning in _NOTHING_DOES:
        verdict = Verdict.SOUND
        says = f"{which}: {_NOTHING_DOES[meaning]}."
        mend = "Nothing to do; join.place_mm moves the tab."
    else:
        verdict = Verdict.WATCH
        says = (
            f"{which}: no station heeds it yet, so parts are mended, fused, filleted and reduced there too."
        )
        mend = "Look at the place on the plate; [fuse] fillet_mm = 0 and join.place_mm keep fillets and tab away."
    return Finding("job", f"zone-{meaning.value.replace(' ', '-')}", verdict, "", says, mend)


def _about_mends(job: Job) -> list[Finding]:
    if not job.mends:
        return []
    return [
        Finding(
            "job",
            "mend-not-made",
            Verdict.WATCH,
            "",
            f"No station makes mends yet, so these are not made: {', '.join(mend.id for mend in job.mends)}.",
            "Change the sculpture or the settings by hand, and take [[mend]] out of the job file.",
            measured=float(len(job.mends)),
            limit=0.0,
            unit="count",
            worse="high",
        )
    ]
