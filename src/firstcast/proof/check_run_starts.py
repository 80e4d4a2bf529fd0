"""Rows on what the images of a run do while they are printed: regions that start bare, hollows that the film closes."""

from firstcast.proof.expected_run import ExpectedRun
from firstcast.proof.layer_regions import Stack
from firstcast.proof.rows import ProofRow, counted, many, measured, place
from firstcast.vocabulary import Verdict


def start_rows(stack: Stack, expected: ExpectedRun) -> list[ProofRow]:
    """Two rows: bare starts, and those that nothing holds soon enough."""
    starts = stack.starts()
    failing = [start for start in starts if start.held_after < 0]
    text = (
        f"{many(len(starts), 'region')} of {expected.least_pixels} pixels or more with nothing beneath; "
        f"{stack.flecks} smaller"
    )
    held = f"{len(failing)} of them not held within {many(expected.within, 'layer')}"
    if failing:
        worst = max(failing, key=lambda start: start.pixels)
        x, y = ((n + 0.5) * p for n, p in zip((worst.column, worst.row), expected.pixel_mm, strict=True))
        held += f", the largest of {many(worst.pixels, 'pixel')} in layer {worst.layer} at {place((x, y))} mm"
    return [
        counted("bare starts", text, len(starts), bad=Verdict.WATCH),
        counted("bare starts that nothing holds", held, len(failing)),
    ]


def hollow_rows(stack: Stack, expected: ExpectedRun) -> list[ProofRow]:
    """Two rows: hollows that suck while they are printed, and those that stay closed."""
    voxel = expected.pixel_mm2 * expected.layer_mm
    hollows = stack.hollows()
    rows = []
    for sealed, check in ((False, "hollows that suck"), (True, "hollows that are sealed")):
        found = [hollow for hollow in hollows if hollow.sealed == sealed]
        largest = found[0].voxels * voxel if found else 0.0
        text = f"{sum(h.voxels * voxel > expected.cup_mm3 for h in found)} above {expected.cup_mm3:g} mm³"
        if found:
            text += f", the largest of {largest:.3f} mm³ in layers {found[0].first} to {found[0].last}"
        rows.append(measured(check, text, largest, expected.cup_mm3, "mm3", Verdict.WATCH))
    return rows
