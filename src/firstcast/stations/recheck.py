"""The recheck station: locks, tongues, walls and gaps measured once more on the mesh that will be written.

Carry moves the surface, join adds the tab, reduce takes triangles away. What was read before may have become worse by
that: so the light mesh is taken back to the figure's size, read again the same way, and held against what was read of
the body. What is as it was is not told again.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.findings import Finding, Measure
from firstcast.geometry.body import Body
from firstcast.geometry.compared import Narrowed, Solid, narrowed
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import Places
from firstcast.geometry.refine import split_long_edges
from firstcast.geometry.walls import read_widths
from firstcast.geometry.whereabouts import where
from firstcast.moulding.locks import Lock
from firstcast.moulding.parts import Parts
from firstcast.moulding.reread import AsRead, reread
from firstcast.moulding.tongues_told import TongueTold
from firstcast.moulding.worsened import Worse
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.stations.contract import StationResult
from firstcast.stations.recheck_settings import Settings
from firstcast.vocabulary import Verdict

READ_MM = 0.3
"""Edges are halved to this length before walls and gaps are read: a flat face of two triangles has readings at its corners only."""

APART_MM = 0.2
"""Places nearer together than this are read together: what is found is measured again at every one of its vertices."""


@dataclass(frozen=True, kw_only=True)
class Rechecked(StationResult):
    """What recheck gives.

    Attributes
    ----------
    worse_mm : (k, 4) float64
        Balls, middle and radius in the figure's millimetres, about the places that are worse than on the body.
    """

    worse_mm: npt.NDArray[np.float64]


class _Before(NamedTuple):
    """What was read of the body."""

    body: Body
    mould: AsRead


def recheck(
    *,
    master: str,
    mesh: Mesh,
    matrix: npt.NDArray[np.float64],
    body: Body,
    pull: npt.NDArray[np.float64],
    pitch_mm: float,
    least_mm3: float,
    locks: tuple[Lock, ...],
    tongues: tuple[TongueTold, ...],
    limits: Limits,
    materials: Materials,
    settings: Settings,
) -> Rechecked:
    """Read the light mesh as the body was read, and name what has become worse.

    Parameters
    ----------
    master : str
    mesh : Mesh
        As it will be written: closed, outward, at master size, with its tab.
    matrix : (3, 3) float64
        From figure to master.
    body : Body
        In figure space, as mould left it.
    pull : (3,) float64
        Zeros where there is no mould.
    pitch_mm, least_mm3 : float
        With which mould read it.
    locks, tongues : tuples
        What mould read of the body.
    limits : Limits
    materials : Materials
    settings : Settings
    """
    before = _Before(body, AsRead(pull, pitch_mm, least_mm3, locks, tongues))
    figure = mesh.mapped(np.linalg.inv(matrix))
    walls, gaps = _narrowed(figure, body, limits)
    worse, slender, locked_mm3 = _mould_again(figure, before, materials)
    most = settings.most_findings
    counts = (len(walls), len(gaps), len(worse), len(slender))
    return Rechecked(
        worse_mm=_balls(walls, gaps, worse, slender),
        says=_says(counts),
        findings=(
            *_told_walls(body, walls[:most], "thinner-wall", limits.wall_mm.likely),
            *_told_walls(body, gaps[:most], "narrower-gap", limits.gap_mm.likely),
            *_told_locks(body, worse[:most]),
            *_told_tongues(body, slender[:most]),
        ),
        measures=(
            Measure(
                "walls made thinner", float(counts[0]), "count", "below their limit, by a tenth and more"
            ),
            Measure(
                "gaps made narrower", float(counts[1]), "count", "below their limit, by a tenth and more"
            ),
            Measure("locks made worse", float(counts[2]), "count", "by a tenth and more"),
            Measure("tongues made more slender", float(counts[3]), "count", ""),
            Measure("locked", locked_mm3, "mm3", "of the written mesh with its tab, in figure size"),
        ),
    )


def _narrowed(figure: Mesh, body: Body, limits: Limits) -> tuple[list[Narrowed], list[Narrowed]]:
    """Walls that are thinner and gaps that are narrower than the body's."""
    fine = split_long_edges(figure, READ_MM)[0]
    wall_mm, gap_mm = limits.wall_mm.likely, limits.gap_mm.likely
    widths = read_widths(fine, most_mm=wall_mm, most_gap_mm=gap_mm, apart_mm=APART_MM)
    walls = Places(widths.wall_mm, widths.wall_opposite, widths.wall_edge_mm)
    gaps = Places(widths.gap_mm, widths.gap_opposite, widths.gap_edge_mm)
    now, before = Solid.of(fine), Solid.of(body.mesh)
    return (
        narrowed(now, walls, before, inside=True, limit_mm=wall_mm),
        narrowed(now, gaps, before, inside=False, limit_mm=gap_mm),
    )


def _mould_again(
    figure: Mesh, before: _Before, materials: Materials
) -> tuple[tuple[Worse, ...], tuple[TongueTold, ...], float]:
    """Locks that are worse, tongues that are more slender, and all that is locked."""
    if not before.mould.pull.any():
        return (), (), 0.0
    # parts are named by the body: the light mesh knows none
    again = reread(figure, before.mould, Parts(before.body), materials.mould)
    return again.worse, again.slender, again.along.way.locked_mm3


def _balls(
    walls: list[Narrowed], gaps: list[Narrowed], worse: tuple[Worse, ...], slender: tuple[TongueTold, ...]
) -> npt.NDArray[np.float64]:
    """(k, 4) a ball about each place: of a wall or gap as wide as its surface would be round, of a lock as its volume."""
    rows = [(*each.region.place_mm, float(np.sqrt(each.region.area_mm2 / np.pi))) for each in (*walls, *gaps)]
    rows += [(*each.lock.place_mm, float(np.cbrt(each.lock.volume_mm3))) for each in worse]
    rows += [(*tongue.place_mm, tongue.depth_mm) for tongue in slender]
    return np.array(rows, np.float64).reshape(-1, 4)


def _says(counts: tuple[int, int, int, int]) -> str:
    names = (("wall", "thinner"), ("gap", "narrower"), ("lock", "larger"), ("tongue", "more slender"))
    told = [
        f"{count} {name}{'s' if count > 1 else ''} {how}"
        for count, (name, how) in zip(counts, names, strict=True)
        if count
    ]
    return f"{', '.join(told) or 'nothing worse'} than on the body"


def _told_walls(body: Body, found: list[Narrowed], code: str, limit_mm: float) -> Iterator[Finding]:
    parts = Parts(body)
    what = "the wall" if code == "thinner-wall" else "the gap"
    for each in found:
        part, _ = parts.beside(np.array([each.region.place_mm]))
        yield Finding(
            "recheck",
            code,
            Verdict.WATCH,
            part,
            f"'{part}', {where(body.mesh, each.region.place_mm)}: as it will be written {what} measures {each.now_mm:.2f} mm "
            f"where the body has {each.before_mm:.2f}.",
            "Keep carry off there with a [[zone]] that means no change, or take the plain master.",
            place_mm=each.region.place_mm,
            measured=each.now_mm,
            limit=min(each.before_mm, limit_mm),
        )


def _told_locks(body: Body, worse: tuple[Worse, ...]) -> Iterator[Finding]:
    for each in worse:
        lock = each.lock
        linked = ", and links up now" if each.links_up else ""
        yield Finding(
            "recheck",
            "more-locked",
            Verdict.WATCH,
            lock.part,
            f"{lock.words[0].upper()}{lock.words[1:]}, {where(body.mesh, lock.place_mm)}: as it will be written, with its tab, "
            f"{lock.volume_mm3:.1f} mm³ of the mould is held where the body alone holds {each.before_mm3:.1f}{linked}.",
            "Move the tab, keep carry off there with a [[zone]] that means no change, or take the plain master.",
            place_mm=lock.place_mm,
            measured=lock.volume_mm3,
            limit=each.before_mm3,
            unit="mm3",
            worse="high",
        )


def _told_tongues(body: Body, slender: tuple[TongueTold, ...]) -> Iterator[Finding]:
    for tongue in slender:
        yield Finding(
            "recheck",
            "more-slender",
            Verdict.WATCH,
            tongue.part,
            f"{tongue.words[0].upper()}{tongue.words[1:]}, {where(body.mesh, tongue.place_mm)}: as it will be written a tongue of "
            f"the mould {tongue.base_mm:.1f} mm thick stands {tongue.depth_mm:.1f} mm deep, {tongue.ratio:.1f} to 1; it was less.",
            "Keep carry off there with a [[zone]] that means no change, or take the plain master.",
            place_mm=tongue.place_mm,
            measured=tongue.ratio,
            unit="ratio",
            worse="high",
        )
