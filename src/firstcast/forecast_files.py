"""The forecast of a piece as files: pictures side by side, and coloured meshes to open beside the sculpture.

Maps lie on the piece's light mesh, taken back to the sculptor's own axes and unit; a place takes the reading of the
nearest place of the forecast. What production added, such as a tab, stays grey.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from firstcast.forecast.details import Detail
from firstcast.geometry.mesh import Mesh
from firstcast.io.coloured import METRE_MM, write_coloured_glb, write_coloured_ply
from firstcast.ranges import LIKELY
from firstcast.sheets.legend import legend_picture
from firstcast.sheets.plate import Title
from firstcast.sheets.scales import SurfaceMap, gap_map, retention_map, wall_map
from firstcast.sheets.side_by_side import CloseUp, Version, draw_side_by_side, write_side_by_side
from firstcast.stations.carry import Forecast
from firstcast.stations.read import BEYOND_MM
from firstcast.steps import Outcome
from firstcast.vocabulary import Make

SAME_PLACE_MM = 0.25
"""A light mesh's vertex farther than this from the body is on a fitting: twice what reduce and lattice move."""

CLOSE_MM, APART_MM = 1.5, 3.0
"""Radius of a place shown close up, and how far apart such places are."""


def write_side(path: Path, outcome: Outcome, *, job: str, piece: str) -> None:
    """The sculpture beside the cast without carry and with it, whole and at the places where most is lost."""
    carried = outcome.get("carry", piece)
    forecast: Forecast = carried.field("forecast")
    details: Sequence[Detail] = carried.field("details")
    limits = outcome.get("plan").field("limits")
    shown = _places(details)
    versions = [
        Version("the sculpture", forecast.mesh.points, "as it was modelled"),
        Version("its cast, painted", forecast.plain_cast, "likely, plain master"),
    ]
    says: list[tuple[str, ...]] = [("", f"{_percent(each.before)} of its depth") for each in shown]
    if forecast.length_mm.any():
        versions.append(Version("its cast with carry", forecast.carried_cast, "likely, carried master"))
        says = [
            (*told, f"{_percent(each.after)} of its depth") for told, each in zip(says, shown, strict=True)
        ]
    names = outcome.get("mould", piece).field("body").part_names
    close_ups = [
        CloseUp(f"{names[each.part]}, detail of {each.scale_mm:g} mm", each.place_mm, CLOSE_MM, told)
        for each, told in zip(shown, says, strict=True)
    ]
    drawn = draw_side_by_side(
        forecast.mesh.triangles,
        versions,
        title=Title(job=job, piece=piece, date="", process=limits.kind.value),
        close_ups=close_ups,
        foot="Forecast from likely figures of print, mould, cast and paint; the even thickness of paint is left out.",
    )
    write_side_by_side(path, drawn)


def _places(details: Sequence[Detail]) -> list[Detail]:
    """Up to three details, each its part's finest, where most of the depth is lost, apart from one another."""
    finest = {}
    for detail in details:
        finest.setdefault(detail.part, detail)
    by_loss = sorted(
        finest.values(),
        key=lambda each: -each.height_mm * np.sqrt(each.area_mm2) * (1.0 - each.before[LIKELY]),
    )
    chosen: list[Detail] = []
    for each in by_loss:
        far = [np.linalg.norm(np.subtract(each.place_mm, other.place_mm)) > APART_MM for other in chosen]
        if all(far) and len(chosen) < 3:
            chosen.append(each)
    return chosen


def _percent(shares: Sequence[float]) -> str:
    return f"{max(100 * shares[LIKELY], 0):.0f} %"


def write_maps(folder: Path, outcome: Outcome, *, piece: str) -> None:
    """Every map of a piece as PLY and GLB in the sculptor's axes and unit, and a legend beside them."""
    matrix = np.asarray(outcome.get("allow", piece).field("matrix"), np.float64)
    light = outcome.get("reduce", piece).field("mesh").mapped(np.linalg.inv(matrix))
    to_file = np.linalg.inv(np.asarray(outcome.get("size").field("matrix_mm"), np.float64))
    shown = light.mapped(to_file)
    rises = np.abs(to_file @ (0.0, 0.0, 1.0))
    up = "y" if rises[1] > rises[2] else "z"
    unit_mm = float(abs(np.linalg.det(to_file)) ** (-1.0 / 3.0))
    for name, surface_map in _maps(outcome, piece, light):
        stem = folder / f"{piece} {name}"
        write_coloured_ply(stem.with_name(f"{stem.name}.ply"), shown, surface_map, unit_mm=unit_mm)
        # numbers as they are in the sculptor's files: programs read them in units, whatever they are called
        write_coloured_glb(stem.with_name(f"{stem.name}.glb"), shown, surface_map, unit_mm=METRE_MM, up=up)
        legend = legend_picture(surface_map, title=f"{piece}: {name}")
        legend.save(stem.with_name(f"{stem.name} legend.png"), format="PNG", optimize=True)


def _maps(outcome: Outcome, piece: str, light: Mesh) -> Iterator[tuple[str, SurfaceMap]]:
    """The name and the readings of every map, at the vertices of the light mesh in figure space."""
    limits = outcome.get("plan").field("limits")
    body = outcome.get("mould", piece).field("body")
    carried, readings = outcome.get("carry", piece), outcome.get("read", piece)
    forecast: Forecast | None = carried.field("forecast")
    on_body = _Nearest(body.mesh.points, light.points)
    walls, gaps = (on_body.of(readings.field(name).width_mm) for name in ("walls", "gaps"))
    wall, gap = limits.wall_mm.likely, limits.gap_mm.likely
    yield "walls", wall_map(walls, most_mm=wall + BEYOND_MM, least_mm=wall)
    yield "gaps", gap_map(gaps, most_mm=gap + BEYOND_MM, least_mm=gap)
    if forecast is None:
        return
    nearest = _Nearest(forecast.mesh.points, light.points)
    makes = carried.field("makes")
    if Make.PLAIN in makes:
        yield "detail kept", retention_map(nearest.of(forecast.kept_before[LIKELY]))
    if Make.CARRIED in makes:
        yield "detail kept with carry", retention_map(nearest.of(forecast.kept_after[LIKELY]))


class _Nearest:
    """Readings at places (k, 3) taken from the nearest of other places (n, 3), NaN where none is near."""

    def __init__(self, points: npt.NDArray[np.floating], places: npt.NDArray[np.floating]) -> None:
        from scipy.spatial import KDTree  # slow to import

        found = KDTree(points).query(places, distance_upper_bound=SAME_PLACE_MM, workers=-1)
        self._far, self._row = np.asarray(found[0]), np.asarray(found[1])

    def of(self, values: npt.NDArray[np.floating]) -> npt.NDArray[np.float32]:
        """(k,) float32; NaN also where a reading is infinite, which is to say wide."""
        padded = np.append(np.asarray(values, np.float32), np.float32(np.nan))
        found = padded[np.where(np.isfinite(self._far), self._row, len(values))]
        return np.where(np.isfinite(found), found, np.float32(np.nan)).astype(np.float32)
