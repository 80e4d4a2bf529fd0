"""Carry: what print, mould, cast and paint will take off the sculpture, and the master that puts it back beforehand.

The body's triangles are mapped to master size in the printer's axes, and the whole chain is forecast for low, likely
and high figures (`firstcast.forecast`). Its inverse moves every place along its normal, within bounds from walls, gaps and
zones. While a figure of the chain is not the maker's own or fitted, carry is offered: both masters are made.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from firstcast.arrays import Points
from firstcast.errors import SizeError
from firstcast.findings import Finding, Measure
from firstcast.forecast.carry import Carried as Found
from firstcast.forecast.carry import Forward
from firstcast.forecast.carry import carry as carry_back
from firstcast.forecast.carry_bounds import Narrow
from firstcast.forecast.chain_on_mesh import MeshForward, forward_of, spanned
from firstcast.forecast.details import Detail, details_of
from firstcast.forecast.kept_wide import NarrowSide
from firstcast.forecast.retention import (
    FLOOR_MM,
    ReliefWindow,
    vertex_areas,
    windows_on,
)
from firstcast.forecast.rings import rings_of
from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.narrow import Places
from firstcast.geometry.zones import Zone
from firstcast.moulding.locks import Lock
from firstcast.moulding.reread import AsRead
from firstcast.moulding.tongues_told import TongueTold
from firstcast.process.chain import ChainScenario, mean_size
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials
from firstcast.ranges import LIKELY
from firstcast.stations.carry_findings import (
    Figure,
    findings_of,
    measures_of,
    not_carried,
    says_of,
)
from firstcast.stations.carry_ground import Ground, Held, ground_of, held_by, scales_of
from firstcast.stations.carry_made import BOUNDED, carried_body, left_of, made_for, makes_of
from firstcast.stations.carry_settings import Settings
from firstcast.stations.carry_settled import KeptFree, Settled
from firstcast.stations.contract import StationResult
from firstcast.vocabulary import Make, Verdict

GAIN, WORSE_MM = 0.7, 0.001
"""How much of the residual each step takes back, and how much worse a place may end for it: chosen, no source."""


@dataclass(frozen=True)
class Forecast:
    """The painted cast, as it will come.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float64, the sculpture in figure space, mm; the body with its long edges halved.
    plain_cast, carried_cast : (n, 3) float32
        Where the likely cast ends, without and with carry, in figure space.
    part_of_vertex : (n,) uint16
    length_mm : (n,) float32
        What is carried.
    before_mm, after_mm : (3, n) float32
        How far low, likely and high end outside the sculpture, without and with carry; the even film left out.
    kept_before, kept_after : (3, n) float32
        Share of the relief that is left, at the finest scale where there is any; NaN where there is none.
    """

    mesh: Mesh
    plain_cast: npt.NDArray[np.float32]
    carried_cast: npt.NDArray[np.float32]
    part_of_vertex: npt.NDArray[np.uint16]
    length_mm: npt.NDArray[np.float32]
    before_mm: npt.NDArray[np.float32]
    after_mm: npt.NDArray[np.float32]
    kept_before: npt.NDArray[np.float32]
    kept_after: npt.NDArray[np.float32]


@dataclass(frozen=True, kw_only=True)
class Carried(StationResult):
    """What carry gives.

    Attributes
    ----------
    makes : tuple of Make
        The masters that are made of this piece.
    body : Body
        The carried body, in figure space; the body itself where none is made.
    forecast : Forecast or None
    details : tuple of Detail
        What is left of each part's detail, by scale.
    most_mm : float
        The farthest that any place is moved, mm on the master.
    made_for : str
        Printer's pixel, layer and orientation that the carried master holds for.
    """

    makes: tuple[Make, ...]
    body: Body
    forecast: Forecast | None = None
    details: tuple[Detail, ...] = ()
    most_mm: float = 0.0
    made_for: str = ""


def carry(
    *,
    piece: str,
    body: Body,
    turn_to_print: npt.NDArray[np.float64],
    matrix: npt.NDArray[np.float64],
    chain: tuple[ChainScenario, ...],
    limits: Limits,
    pitch_mm: npt.NDArray[np.float64],
    walls: Places,
    gaps: Places,
    wall_spare_mm: npt.NDArray[np.float32],
    gap_spare_mm: npt.NDArray[np.float32],
    pull: npt.NDArray[np.float64],
    mould_pitch_mm: float,
    least_mm3: float,
    locks: tuple[Lock, ...],
    tongues: tuple[TongueTold, ...],
    materials: Materials,
    zones: tuple[Zone, ...],
    height_mm: float,
    printed_with: str,
    settings: Settings,
) -> Carried:
    """Forecast the painted cast of a piece, and the body that comes out as the sculpture is.

    Parameters
    ----------
    piece : str
    body : Body
        In figure space, mm.
    turn_to_print : (3, 3) float64
        From figure space to print space.
    matrix : (3, 3) float64
        From figure to master.
    chain : (low, likely, high)
    limits : Limits
    pitch_mm : (3,) float64
        Of the lattice that the body was made on.
    walls, gaps : Places
        As they were read at each vertex.
    wall_spare_mm, gap_spare_mm : (n,) float32
        What walls and gaps can give at each vertex (`firstcast.stations.read.Readings`).
    pull : (3,) float64
        Zeros where there is no mould.
    mould_pitch_mm, least_mm3 : float
        With which mould read the body.
    locks, tongues : tuples
        What it holds.
    materials : Materials
    zones : tuple of Zone
    height_mm : float
        Of the whole figure.
    printed_with : str
        Printer and resin, in the job's words.
    """
    if not settings.forecast or not len(body.mesh.triangles):
        plain = Carried(makes=(Make.PLAIN,), body=body, says="not forecast, nothing is carried")
        return _told(piece, plain, settings)
    ground = ground_of(body, turn_to_print, matrix, chain, limits, pitch_mm)
    try:
        forward = forward_of(ground.points, ground.mesh.triangles, ground.normals, ground.chains)
        before = forward(np.zeros(len(ground.points)))
        plain_end = _shown(ground, forward)
    except SizeError as error:
        return _told(piece, _too_large(piece, body, error), settings)
    windows = windows_on(ground.points, ground.mesh.triangles, ground.normals, scales_of(ground))
    carries = settings.make is not Make.PLAIN and ground.chains[LIKELY].prints and settings.cap_mm > 0.0
    found, held_back = None, ()
    if carries:
        size = mean_size(matrix)
        narrow = Narrow(
            ground.of_vertices(size * wall_spare_mm.astype(np.float64)),
            ground.of_vertices(size * gap_spare_mm.astype(np.float64)),
        )
        held = held_by(ground, zones, settings.release)
        sides = (
            NarrowSide(walls, limits.wall_mm.likely, inside=True),
            NarrowSide(gaps, limits.gap_mm.likely, inside=False),
        )
        as_read = AsRead(pull, mould_pitch_mm, least_mm3, locks, tongues)
        free = KeptFree(ground, as_read, materials.mould) if pull.any() else None
        settle = Settled(ground, np.asarray(matrix, np.float64), sides, free)
        found = _found(ground, forward, before, windows, narrow, held, settle, settings)
        held_back = (settle.told,)
    moved = found is not None and bool(found.length_mm.any())
    ends = plain_end, _shown(ground, forward) if moved else plain_end
    del forward  # it holds where every scenario ends
    result = _result(piece, ground, before, found, ends, windows, limits, height_mm, printed_with, settings)
    return _told(piece, replace(result, measures=(*result.measures, *held_back)), settings)


def _told(piece: str, result: Carried, settings: Settings) -> Carried:
    """The result, and where a carried master was asked for and could not be made, that it was not."""
    if settings.make is not Make.CARRIED or Make.CARRIED in result.makes:
        return result
    return replace(result, findings=(*result.findings, not_carried(piece)))


def _shown(ground: Ground, forward: MeshForward) -> Points:
    """(n, 3) where the forecast that was run last leaves the likely cast, print space."""
    rings = rings_of(ground.mesh.triangles, len(ground.points))
    return spanned(forward.ends[LIKELY], forward.bridged[LIKELY], rings)


def _found(
    ground: Ground,
    forward: Forward,
    before,
    windows: Sequence[ReliefWindow],
    narrow: Narrow,
    held: Held,
    settle: Settled,
    settings: Settings,
) -> Found:
    """The lengths that are carried, and what they come to."""
    points, triangles, normals = ground.points, ground.mesh.triangles, ground.normals
    likely = forward_of(points, triangles, normals, ground.chains[LIKELY : LIKELY + 1])
    bound = np.where(held.still, 0.0, settings.cap_mm)
    return carry_back(
        forward, points, triangles, normals,
        before_mm=before,
        likely=lambda length: likely(length)[0],
        allowed_low_mm=-bound,
        allowed_high_mm=bound,
        narrow=narrow,
        even=held.even,
        cap_mm=settings.cap_mm,
        steps=settings.steps,
        gain=GAIN,
        over_mm=FLOOR_MM,
        worse_mm=WORSE_MM,
        rounds=settings.rounds,
        windows=windows[:BOUNDED],
        settle=settle,
        settle_for_now=settle.for_now,
    )  # fmt: skip


def _result(
    piece: str,
    ground: Ground,
    before,
    found: Found | None,
    ends: tuple[Points, Points],
    windows: Sequence[ReliefWindow],
    limits: Limits,
    height_mm: float,
    printed_with: str,
    settings: Settings,
) -> Carried:
    after = before if found is None else found.after_mm
    length = np.zeros(len(ground.points)) if found is None else found.length_mm
    apart = left_of(windows, before, found)
    parts = ground.part_of_vertex()
    areas = vertex_areas(ground.points, ground.mesh.triangles)
    details = details_of(*apart, parts, ground.figure_points, areas, scales_of(ground))
    makes = makes_of(ground.chains, settings.make, moved=bool(length.any()))
    figure = Figure(piece, ground.body, height_mm, settings.kept_ratio)
    forecast = Forecast(
        mesh=Mesh(ground.figure_points, ground.mesh.triangles),
        plain_cast=(ends[0] @ ground.to_figure.T).astype(np.float32),
        carried_cast=(ends[1] @ ground.to_figure.T).astype(np.float32),
        part_of_vertex=parts,
        length_mm=length.astype(np.float32),
        before_mm=np.asarray(before, np.float32),
        after_mm=np.asarray(after, np.float32),
        kept_before=apart[0].finest.astype(np.float32),
        kept_after=apart[1].finest.astype(np.float32),
    )
    most = float(np.abs(length).max(initial=0.0))
    return Carried(
        makes=makes,
        body=carried_body(ground, length),
        forecast=forecast,
        details=details,
        most_mm=most,
        made_for=made_for(limits, ground, printed_with) if Make.CARRIED in makes else "",
        says=says_of(figure, details, makes, found, most),
        findings=findings_of(figure, details, makes, found, ground.chains[LIKELY]),
        measures=measures_of(figure, details, found, most),
    )


def _too_large(piece: str, body: Body, error: SizeError) -> Carried:
    return Carried(
        makes=(Make.PLAIN,),
        body=body,
        says="too large to forecast, nothing is carried",
        findings=(
            Finding(
                "carry", "too-large", Verdict.WATCH, piece,
                f"The painted cast was not forecast: {error.what}.", error.mend,
            ),
        ),
        measures=(Measure("carried", 0.0, "mm", "not forecast"),),
    )  # fmt: skip
