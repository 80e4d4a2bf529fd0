"""A part in a few numbers: all that plan needs of it."""

from dataclasses import dataclass

from firstcast.geometry.mesh import Mesh, measure_solid


@dataclass(frozen=True)
class PartSummary:
    """Size, volume and mean thickness of one part, in millimetres.

    `mean_thickness_mm` is 2 · volume / area: the thickness of a plate of that volume and area.
    """

    name: str
    extents_mm: tuple[float, float, float]
    volume_mm3: float
    area_mm2: float
    triangle_count: int
    mean_thickness_mm: float


def summarise(name: str, mesh: Mesh) -> PartSummary:
    """The summary of a closed mesh in millimetres; an empty one has no thickness."""
    solid = measure_solid(mesh)
    low, high = mesh.bounds
    x, y, z = (float(c) for c in high - low)
    thickness = 2.0 * abs(solid.volume) / solid.area if solid.area else 0.0
    return PartSummary(name, (x, y, z), solid.volume, solid.area, len(mesh.triangles), thickness)
