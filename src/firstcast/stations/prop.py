"""The prop station: what holds a piece while it is printed, so that nothing starts in mid-air."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.tabs import TabSpec
from firstcast.geometry.tree import build_tree, closest_points
from firstcast.geometry.zones import Zone
from firstcast.printing.prop_shapes import PropShapes
from firstcast.printing.prop_wants import Strength, TabEnd, Wanted
from firstcast.printing.propped import Propped, Tips
from firstcast.printing.propping import Standing, hold_up
from firstcast.printing.starts import Bearing
from firstcast.printing.tips import Avoids
from firstcast.process.limits import Limits
from firstcast.process.materials import Materials, Printer, Resin
from firstcast.process.peel import bending_reach_mm, sagging_reach_mm
from firstcast.stations.contract import StationResult
from firstcast.stations.prop_findings import Held as Seen
from firstcast.stations.prop_findings import findings_of, measures_of, says_of
from firstcast.stations.prop_settings import Settings
from firstcast.vocabulary import ProcessKind, ZoneMeaning

SAG_LAYERS = 0.5
"""A fresh underside may bend by half a layer: more shows as a step. Chosen, no source."""


@dataclass(frozen=True, kw_only=True)
class Held(StationResult):
    """What prop gives.

    Attributes
    ----------
    master, piece : str
    matrix : (3, 3) float64
        From the figure to the master.
    propped : Propped or None
        None where nothing is printed.
    neck_use, bending_use, buckling_use : float
        The greatest load of any neck and post, over what it may bear.
    sway_use : float
        How near any tree of posts comes to buckling as a whole, over what it may bear.
    props_mm3, plain_mm3 : float
        Resin of the props, and of plain columns under the same tips.
    posts, feet, rests : int
        Feet stand on the platform, rests on the figure.
    bare_starts, overhangs, flecks : int
        What the layers with props still show; flecks are too small to cure.
    """

    master: str
    piece: str
    matrix: npt.NDArray[np.float64]
    propped: Propped | None
    neck_use: float = 0.0
    bending_use: float = 0.0
    buckling_use: float = 0.0
    sway_use: float = 0.0
    props_mm3: float = 0.0
    plain_mm3: float = 0.0
    posts: int = 0
    feet: int = 0
    rests: int = 0
    bare_starts: int = 0
    overhangs: int = 0
    flecks: int = 0


def prop(
    *,
    master: str,
    piece: str,
    mesh: Mesh,
    turn_to_print: npt.NDArray[np.float64],
    matrix: npt.NDArray[np.float64],
    tab: TabSpec | None,
    body: Body,
    limits: Limits,
    materials: Materials,
    zones: tuple[Zone, ...],
    settings: Settings,
) -> Held:
    """Props for a master as it stands in the printer.

    Parameters
    ----------
    master, piece : str
    mesh : Mesh
        The light master: the figure's axes, master size; closed and outward.
    turn_to_print, matrix : (3, 3) float64
        Rotation to the printer's axes; map from the figure to the master.
    tab : TabSpec or None
        Its end gets stout tips.
    body : Body
        In figure space: says which part a place belongs to, for zones by part.
    zones : tuple of Zone
        Precious ones get tips only where nothing else holds.

    Raises
    ------
    InputError
        The mesh is not closed.
    SizeError
        The lattice for the posts' ways would not fit this machine.
    """
    if limits.kind is ProcessKind.HARD_TOOL:
        return Held(
            master=master, piece=piece, matrix=np.asarray(matrix, np.float64), propped=None,
            says="nothing is printed for a hard tool, so nothing is propped",
        )  # fmt: skip
    turn = np.asarray(turn_to_print, np.float64)
    standing = hold_up(
        mesh.mapped(turn),
        wanted_of(settings, limits, materials.printer, materials.resin),
        tab=None if tab is None else tab_end(tab, turn),
        avoids=_avoids(zones, body, turn, np.asarray(matrix, np.float64)),
    )
    to_figure = np.asarray(np.linalg.inv(np.asarray(matrix, np.float64)), np.float64)
    seen = Seen(piece, mesh, standing, turn, to_figure)
    contacts = standing.contacts
    return Held(
        master=master, piece=piece, matrix=np.asarray(matrix, np.float64),
        propped=Propped(
            _rounded(standing.piece), _rounded(standing.props), turn, standing.offset_mm,
            Tips(contacts.places_mm, contacts.diameters_mm, standing.loads_n, standing.bears_n, contacts.on_tab),
        ),
        neck_use=seen.neck_use, bending_use=seen.bending_use, buckling_use=seen.buckling_use, sway_use=seen.sway_use,
        props_mm3=seen.props_mm3, plain_mm3=standing.plain_mm3,
        posts=seen.posts, feet=seen.feet, rests=seen.rests,
        bare_starts=standing.left.starts, overhangs=len(standing.left.layers) - standing.left.starts,
        flecks=standing.flecks,
        says=says_of(seen), findings=findings_of(seen), measures=measures_of(seen),
    )  # fmt: skip


def _rounded(mesh: Mesh) -> Mesh:
    """The mesh as files hold it: points in float32, within 2e-6 mm of where they were."""
    return Mesh(np.asarray(mesh.points, np.float32), mesh.triangles)


def wanted_of(settings: Settings, limits: Limits, printer: Printer, resin: Resin) -> Wanted:
    """How a piece is to be held: settings, and figures of printer and resin.

    Loads are the likely ones, and what bears them is the weakest resin, as it leaves the vat, by the factor of safety.
    """
    strength = Strength(
        stress_kpa=printer.separation_stress_kpa.likely,
        strength_mpa=resin.green_strength_mpa.low,
        modulus_mpa=resin.green_modulus_mpa.low,
        density_g_cm3=resin.density_g_cm3.likely,
        safety=settings.safety,
    )
    reach = settings.reach_mm or _reach_mm(strength, resin.cure_depth_mm.likely, limits.layer_mm)
    bearing = Bearing(
        least_pixels=settings.least_pixels,
        reach_mm=reach,
        relief_mm=limits.layer_mm / float(np.tan(np.radians(settings.bearing_slope_deg))),
        tip_radius_mm=0.5 * settings.tip_mm,
    )
    shapes = PropShapes(
        fine_tip_mm=min(settings.fine_tip_mm, settings.tip_mm), tip_mm=settings.tip_mm,
        tip_most_mm=max(settings.tip_most_mm, settings.tip_mm), tab_tip_mm=settings.tab_tip_mm,
        post_mm=settings.post_mm, clearance_mm=settings.clearance_mm,
    )  # fmt: skip
    return Wanted(
        limits.pixel_mm,
        limits.layer_mm,
        settings.lift_mm,
        settings.freedom_mm,
        settings.rounds,
        bearing,
        strength,
        shapes,
    )


def _reach_mm(strength: Strength, cured_mm: float, layer_mm: float) -> float:
    """What a fresh layer bears: it is as thick as its light cures."""
    return min(
        bending_reach_mm(strength.stress_kpa, strength.strength_mpa / strength.safety, cured_mm),
        sagging_reach_mm(strength.stress_kpa, strength.modulus_mpa, cured_mm, SAG_LAYERS * layer_mm),
    )


def tab_end(tab: TabSpec, turn: npt.NDArray[np.float64]) -> TabEnd:
    """The end face of a tab in the printer's axes."""
    deep = tab.height_mm + tab.overlap_mm
    inset = 2.0 * deep * float(np.tan(np.radians(tab.draft_deg)))
    return TabEnd(
        turn @ (tab.top_mm + deep * tab.toward),
        turn @ tab.along,
        turn @ tab.toward,
        tab.length_mm - inset,
        tab.end_width_mm,
    )


def _avoids(
    zones: Sequence[Zone], body: Body, turn: npt.NDArray[np.float64], matrix: npt.NDArray[np.float64]
) -> Avoids | None:
    """Which places of the turned master lie in a precious zone; None without such zones."""
    precious = [zone for zone in zones if zone.meaning is ZoneMeaning.PRECIOUS]
    if not precious:
        return None
    to_figure = np.linalg.inv(turn @ matrix)
    tree = build_tree(body.mesh) if any(zone.part is not None for zone in precious) else None

    def avoids(places: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
        figure = np.ascontiguousarray(places @ to_figure.T)
        parts = None if tree is None else body.part_of_triangle[closest_points(tree, figure).triangle]
        inside = np.zeros(len(places), bool)
        for zone in precious:
            inside |= zone.contains(figure, part_of_point=parts, part_names=body.part_names)
        return inside

    return avoids


__all__ = ["Held", "Settings", "Standing", "prop", "tab_end", "wanted_of"]
