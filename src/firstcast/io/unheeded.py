"""What a job file asks, and which stations heed it yet: said, so that nobody takes silence for heed."""

from collections.abc import Iterator, Sequence

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
    ZoneMeaning.LETTERS: (
        "read measures the strokes there; it asks nothing of other stations",
        "Nothing to do; a zone marked precious in the same place keeps props and seam away.",
    ),
}
"""Meanings that hold, since stations heed them and nothing else works against them yet: what is said, and the mend."""


def unheeded(job: Job) -> tuple[Finding, ...]:
    """One finding per meaning of zones, and one per station that is to release what is no precious zone.

    `sound` where what is asked holds, by a station or because nothing works against it yet; `watch` where it may not.
    """
    return *_zones(job), *_releases(job)


def _zones(job: Job) -> Iterator[Finding]:
    for meaning in ZoneMeaning:
        zones = [zone for zone in job.zones if zone.meaning is meaning]
        if zones:
            yield _about_zones(meaning, zones)


def _releases(job: Job) -> Iterator[Finding]:
    """Names in a station's `release`, for all or for one part or piece, that no precious zone has."""
    precious = {zone.name for zone in job.zones if zone.meaning is ZoneMeaning.PRECIOUS}
    given = [*job.settings.items(), *((each.station, each.settings) for each in job.exceptions)]
    for station in job.settings:
        names = [name for of, settings in given if of == station for name in getattr(settings, "release", ())]
        unknown = [name for name in dict.fromkeys(names) if name not in precious]
        if unknown:
            listed = ", ".join(f"'{name}'" for name in unknown)
            yield Finding(
                "job", f"unknown-release-{station}", Verdict.WATCH, "",
                f"[{station}] releases {listed}, which is no zone marked precious.",
                "Correct the name in release, or take it out.",
            )  # fmt: skip


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
