"""The reduce station: as few triangles as a proved tolerance allows."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from pydantic import Field

from firstcast.findings import Finding, Measure
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.reduce import reduce_mesh
from firstcast.process.limits import Limits
from firstcast.stations.contract import StationResult, StationSettings
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Verdict


class Settings(StationSettings):
    """The job file's table [reduce]."""

    tolerance_mm: float | None = Field(
        default=None,
        gt=0,
        le=0.5,
        description="How far the written mesh may lie from the contour, either way. Left out, plan's: a quarter of a "
        "printer pixel.",
    )


@dataclass(frozen=True, kw_only=True)
class Lightened(StationResult):
    """The mesh that is written.

    Attributes
    ----------
    mesh : Mesh
        points (n, 3) float32, mm, master size; closed, manifold, outward.
    there_mm, back_mm : float
        Certified bounds of the distance from the contour to the mesh, and from the mesh to the contour.
    """

    mesh: Mesh
    there_mm: float
    back_mm: float


def reduce(
    *, piece: str, mesh: Mesh, limits: Limits, settings: Settings, pitch_mm: npt.ArrayLike | None = None
) -> Lightened:
    """Collapse edges while the two surfaces provably stay within the tolerance of one another.

    `pitch_mm` is that of the lattice the mesh was made on, for the error budget; plan's where it is not given.

    Raises
    ------
    InputError
        The mesh is not closed, or the guarantee can't be reached.
    """
    tolerance_mm = limits.reduce_tolerance_mm if settings.tolerance_mm is None else settings.tolerance_mm
    made = reduce_mesh(mesh, tolerance_mm=tolerance_mm)
    light = made.mesh
    findings = [
        Finding(
            station="reduce",
            code="crossing-left",
            verdict=Verdict.STOP,
            part=piece,
            says=f"Triangles {first} and {second} of the light mesh cross, as they did in the dense one.",
            mend="Raise [fuse] pitch_mm or move the parts here by a hair, so that the surfaces part or merge.",
            place_mm=_middle(light, int(first)),
        )
        for first, second in made.crossings[:20]
    ]
    worst_mm = max(made.there_mm, made.back_mm)
    rounding_mm = _rounding_mm(light)
    field_mm = TOLERANCES.field_pitches * float(np.max(limits.pitch_mm if pitch_mm is None else pitch_mm))
    before, after = len(mesh.triangles), len(light.triangles)
    return Lightened(
        says=f"{before:,} to {after:,} triangles, within {worst_mm * 1e3:.2f} µm by bound",
        mesh=light,
        there_mm=made.there_mm,
        back_mm=made.back_mm,
        findings=tuple(findings),
        measures=(
            Measure("triangles", float(after), "count", f"{before:,} in the dense mesh"),
            Measure("reduce", worst_mm, "mm", "proved both ways, by bound"),
            Measure("field", field_mm, "mm", "a fifth of a pitch, away from creases"),
            Measure("float32 writing", rounding_mm, "mm", "half a step of float32 at the farthest place"),
            Measure("sum", worst_mm + field_mm + rounding_mm, "mm", "what the steps may add up to"),
        ),
    )


def _middle(mesh: Mesh, triangle: int) -> tuple[float, float, float]:
    x, y, z = np.asarray(mesh.points, dtype=np.float64)[mesh.triangles[triangle]].mean(axis=0)
    return float(x), float(y), float(z)


def _rounding_mm(mesh: Mesh) -> float:
    """The greatest error that rounding to float32 leaves in a point: each axis by half a step at most."""
    if not len(mesh.points):
        return 0.0
    steps = np.spacing(np.abs(np.asarray(mesh.points, dtype=np.float32)).max(axis=0))
    return float(np.linalg.norm(steps.astype(np.float64)) / 2.0)
