"""What a job file asks, and which stations heed it yet: said, so that nobody takes silence for heed."""

from collections.abc import Sequence

from firstcast.findings import Finding
from firstcast.geometry.zones import Zone
from firstcast.io.job import Job
from firstcast.vocabulary import Verdict, ZoneMeaning

_HELD = {
    ZoneMeaning.NO_CARRY: (
        "carry corrects only size there, and no other station exaggerates detail",
        "Nothing to do.",
    ),
    ZoneMeaning.PRECIOUS: (
        "carry leaves detail alone there unless [carry] release names the zone, and nothing is filled there unless [mould] "
        "release does; props and the mould's seam keep out where there is another way, and only the tab might stand there",
        "Nothing to do; join.place_mm moves the tab.",
    ),
}
"""Meanings that hold, since carry heeds them and nothing else works against them yet: what is said, and the mend."""


def unheeded(job: Job) -> tuple[Finding, ...]:
    """One finding per meaning of zones.

    `sound` where what is asked holds, by carry or because nothing works against it yet; `watch` where it may not.
    """
    return tuple(
        _about_zones(meaning, zones)
        for meaning in ZoneMeaning
        if (zones := [zone for zone in job.zones if zone.meaning is meaning])
    )


def _about_zones(meaning: ZoneMeaning, zones: Sequence[Zone]) -> Finding:
    named = ", ".join(f"'{zone.name}'" for zone in zones)
    which = f"Zone{'s' if len(zones) > 1 else ''} {named} ({meaning.value})"
    if meaning in _HELD:
        verdict = Verdict.SOUND
        held, mend = _HELD[meaning]
        says = f"{which}: {held}."
    else:
        verdict = Verdict.WATCH
        says = (
            f"{which}: carry moves nothing and mould fills nothing there, but no other station heeds it yet, so parts are mended, fused, "
            "filleted, joined to the tab and reduced there too."
        )
        mend = "Look at the place on the plate; [fuse] fillet_mm = 0 and join.place_mm keep fillets and tab away."
    return Finding("job", f"zone-{meaning.value.replace(' ', '-')}", verdict, "", says, mend)
