"""Rows on how far the master's surface lies from the sculptor's parts, both ways."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from firstcast.proof import _certify
from firstcast.proof.distances import areas, certify, nearest, spread_points
from firstcast.proof.expected import Expected
from firstcast.proof.narrow import NARROW_PITCHES
from firstcast.proof.readings import Reading, read_distances, read_losses
from firstcast.proof.rows import ProofRow, many, measured, place
from firstcast.proof.sculpture import Sculpture, Shown, visible_points
from firstcast.proof.tree import Tree
from firstcast.vocabulary import Verdict

EXEMPT_PERCENT = 5.0
"""More than this share of what shows, left out, is for the maker to look at: so much of the proof is missing."""

QUANTILES = ((0.999, "99.9 %"), (0.99, "99 %"), (0.5, "median"))


def deviation_rows(
    master: Tree,
    vertices_mm: npt.NDArray[np.float64],
    expected: Expected,
    sculpture: Sculpture,
    samples: int,
) -> list[ProofRow]:
    """Master to parts, by bound and by samples, and the parts' visible surface to the master.

    All of the master is measured; what shows of the parts is left out where it was filled or dropped on purpose and
    is gone.
    `vertices_mm` (n, 3): every corner of the master once, neighbours near one another.
    """
    rows = [_certified_row(master, expected, sculpture)]
    spread, _ = spread_points(master.corners, samples)
    points = np.concatenate([spread, vertices_mm])
    reading = read_distances(sculpture, points, expected.tolerance_mm)
    rows += _distance_rows(
        "master to parts", points, reading, expected, sculpture.names, np.arange(len(points)) < len(spread)
    )
    shown = visible_points(sculpture, samples // 4)
    distance_mm = nearest(master, shown.points_mm).distance
    # what is there all the same needs no exemption: it is measured like everything else
    exempt = expected.exempts(shown.points_mm) & (distance_mm > expected.tolerance_mm)
    rows.append(_exempt_row(shown, exempt, expected))
    kept = shown.chosen(~exempt)
    reading = read_losses(sculpture, kept, distance_mm[~exempt], expected.tolerance_mm)
    rows += _distance_rows("parts to master", kept.points_mm, reading, expected, sculpture.names, kept.even)
    return rows


def _exempt_row(shown: Shown, exempt: npt.NDArray[np.bool_], expected: Expected) -> ProofRow:
    """What of the parts is left out, counted and said."""
    share = 100.0 * float((exempt & shown.even).sum()) / max(1, int(shown.even.sum()))
    reasons = "; ".join(dict.fromkeys(region.why for region in expected.exempt))
    text = "no place is exempt"
    if expected.exempt:
        text = (
            f"{many(int(exempt.sum()), 'point')} of the parts ({share:.3g} % of what shows) in "
            f"{many(len(expected.exempt), 'exempt place')}: {reasons}"
        )
    verdict = Verdict.WATCH if share > EXEMPT_PERCENT else Verdict.SOUND
    return ProofRow("exempt places", text, share, EXEMPT_PERCENT, "%", verdict)


def _certified_row(master: Tree, expected: Expected, sculpture: Sculpture) -> ProofRow:
    """How much of the surface is proved within the limits as a whole, not by samples."""
    check = "surface proved within the limit"
    size = areas(master.corners)
    total = float(size.sum())
    if sculpture.closed is None or total <= 0.0:
        return ProofRow(check, "no closed part: by samples only", 0.0, None, "%", Verdict.SOUND)
    left = np.arange(len(master.corners))
    state = certify(sculpture.closed, master.corners[left], expected.tolerance_mm).state
    smooth = 100.0 * float(size[left[state == _certify.WITHIN]].sum()) / total
    left = left[state != _certify.WITHIN]
    state = certify(sculpture.closed, master.corners[left], expected.crease_limit_mm).state
    creased = 100.0 * float(size[left[state == _certify.WITHIN]].sum()) / total
    left, state = left[state != _certify.WITHIN], state[state != _certify.WITHIN]
    on_sheets = _on_sheets(master.corners[left], expected, sculpture)
    beyond = left[(state == _certify.BEYOND) & ~on_sheets]
    undecided = int(((state == _certify.OPEN) & ~on_sheets).sum())
    text = (
        f"{smooth:.4f} % of the surface as a whole within {expected.tolerance_mm * 1e3:.4g} µm of the parts, "
        f"{creased:.4f} % more within {expected.crease_limit_mm * 1e3:.4g} µm (by bound)"
    )
    verdict = Verdict.SOUND
    if on_sheets.any():
        text += f"; {many(int(on_sheets.sum()), 'triangle')} on sheets, by samples"
    if undecided:
        text += f"; {many(undecided, 'triangle')} undecided, by samples"
        verdict = Verdict.WATCH
    if len(beyond):
        where = place(master.corners[beyond[0]].mean(axis=0))
        text += f"; {many(len(beyond), 'triangle')} beyond, the first about {where}"
        verdict = Verdict.STOP
    return ProofRow(check, text, smooth + creased, None, "%", verdict)


def _on_sheets(
    corners: npt.NDArray[np.float64], expected: Expected, sculpture: Sculpture
) -> npt.NDArray[np.bool_]:
    """(m,) triangles whose corners and centre are all within the limit, one of them nearest to a sheet.

    The distance to half a sheet's thickness is not convex, so that the bound can't decide there.
    """
    if not sculpture.sheets or not len(corners):
        return np.zeros(len(corners), dtype=np.bool_)
    points = np.concatenate([corners, corners.mean(axis=1)[:, None]], axis=1).reshape(-1, 3)
    reading = read_distances(sculpture, points, np.inf)
    within = (reading.distance_mm <= expected.crease_limit_mm).reshape(-1, 4).all(axis=1)
    sheet_parts = [sheet.part for sheet in sculpture.sheets]
    return np.asarray(within & np.isin(reading.part, sheet_parts).reshape(-1, 4).any(axis=1))


def _distance_rows(
    way: str,
    points: npt.NDArray[np.float64],
    reading: Reading,
    expected: Expected,
    names: tuple[str, ...],
    even: npt.NDArray[np.bool_],
) -> list[ProofRow]:
    """Greatest distance on smooth surface, at creases and at narrow places, then quantiles of the even points."""
    if not len(points):
        return [ProofRow(f"{way}: greatest", "nothing to compare", None, None, "µm", Verdict.SOUND)]
    rows = []
    micron = reading.distance_mm * 1e3
    narrow_says = f"where a wall or gap is under {NARROW_PITCHES * expected.pitch_mm:.3g} mm, two pitches: a smaller [fuse] pitch_mm keeps more"
    for kind, chosen, limit, says in (
        ("smooth", ~reading.creased & ~reading.narrow, expected.tolerance_mm, ""),
        ("creases", reading.creased, expected.crease_limit_mm, " at creases, beyond the limit elsewhere"),
        ("narrow places", reading.narrow, expected.crease_limit_mm, f" {narrow_says}"),
    ):
        check = f"{way}: greatest, {kind}"
        if not chosen.any():
            rows.append(ProofRow(check, "nowhere beyond the limit", 0.0, limit * 1e3, "µm", Verdict.SOUND))
            continue
        worst = int(np.flatnonzero(chosen)[np.argmax(micron[chosen])])
        near = f" near {names[reading.part[worst]]}" if reading.part[worst] >= 0 else ""
        text = f"{micron[worst]:.2f} µm at {place(points[worst])}{near}; {many(int(chosen.sum()), 'point')}{says}"
        row = measured(check, text, float(micron[worst]), limit * 1e3, "µm")
        if kind == "narrow places" and row.verdict is Verdict.STOP:
            # no lattice of this pitch can hold it: told, with the place, for the maker to judge
            row = replace(row, verdict=Verdict.WATCH)
        rows.append(row)
    spread = micron[even] if even.any() else micron
    for share, label in QUANTILES:
        value = float(np.quantile(spread, share))
        text = f"{value:.2f} µm, over {many(len(spread), 'point')} spread evenly by area"
        rows.append(ProofRow(f"{way}: {label}", text, value, None, "µm", Verdict.SOUND))
    return rows
