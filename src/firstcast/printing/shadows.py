"""What a propped piece covers of the platform, height band by height band, as cells of a plan.

A cell of a band is covered if any of the solid lies over it within the band: never too few cells, at most those that
its surface only touches too many. So what is kept apart by its cells is apart.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from manifold3d import CrossSection, OpType

from firstcast.errors import InputError
from firstcast.fields.blocks import run_blocks
from firstcast.fields.coverage import Layers, PixelGrid, section_layers, stream_coverage
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import raw_manifold
from firstcast.kernels.shadows import mark_bands

Cells = npt.NDArray[np.uint8]

TRIANGLE_BLOCK = 1 << 14

QUARTERS = 4
"""Quarter turns in a full one."""

OUTLINE_MM = 0.02
"""How far an outline's corners that are left out may lie from it: less than any drawing of a platform shows."""


@dataclass(frozen=True)
class Shadow:
    """Cells that a piece covers, in a window that just holds them.

    Attributes
    ----------
    cells : (bands, rows, columns) uint8
        1 where covered; bands from the platform up, rows along y, columns along x.
    corner : (int, int)
        Column and row of the window's first cell, counted from the piece's middle x = y = 0.
    cell_mm : (float, float)
        Along x and y.
    band_mm : float
    height_mm : float
        Of the piece itself; its last band may reach above.
    between : tuple of Shadow
        The same piece turned by equal steps of less than a quarter; none if it is turned by quarters only.
    """

    cells: Cells
    corner: tuple[int, int]
    cell_mm: tuple[float, float]
    band_mm: float
    height_mm: float
    between: tuple["Shadow", ...] = ()

    @property
    def plan(self) -> Cells:
        """(rows, columns) uint8: covered in any band."""
        return self.cells.max(axis=0)

    @property
    def area_mm2(self) -> float:
        """Of the plan."""
        return float(self.plan.sum(dtype=np.int64)) * self.cell_mm[0] * self.cell_mm[1]

    def turned(self, quarters: int) -> "Shadow":
        """Turned about the middle by quarter turns, counter-clockwise seen from above: exactly.

        Raises
        ------
        InputError
            An odd number of them, where cells are not square.
        """
        if quarters % 2 and self.cell_mm[0] != self.cell_mm[1]:
            raise InputError(
                f"cells of {self.cell_mm[0]:g} × {self.cell_mm[1]:g} mm can't be turned by a quarter",
                where="shadow",
                mend="Turn by halves where pixels are not square.",
            )
        cells, (column, row) = self.cells, self.corner
        for _ in range(quarters % QUARTERS):
            # the cell at column c, row r comes to column -r - 1, row c
            column, row = -(row + cells.shape[1]), column
            cells = cells.transpose(0, 2, 1)[:, :, ::-1]
        return Shadow(np.ascontiguousarray(cells), (column, row), self.cell_mm, self.band_mm, self.height_mm)

    @property
    def step_deg(self) -> float:
        """How far its turns are apart."""
        return 90.0 / (1 + len(self.between))

    def at(self, turn: int) -> "Shadow":
        """Turned about the middle by so many steps, counter-clockwise seen from above."""
        quarters, rest = divmod(turn, 1 + len(self.between))
        return (self, *self.between)[rest].turned(quarters)

    def spread(self, clearance_mm: float) -> "Shadow":
        """All cells that have any of it nearer than a clearance, whichever way: beside, above or below.

        Distances are those between the nearest corners of cells, so all that is nearer is in it.
        """
        up = _reach_bands(clearance_mm, self.band_mm)
        bands = np.pad(self.cells, ((0, up), (0, 0), (0, 0))).astype(bool)
        over, across = (_reach_cells(clearance_mm, side) for side in reversed(self.cell_mm))
        wide = np.zeros((len(bands), bands.shape[1] + 2 * over, bands.shape[2] + 2 * across), bool)
        # bands that are the same gap away are spread by the same disc, so they are taken together
        for steps in range(1, up + 1):
            gap = (steps - 1) * self.band_mm
            near = bands.copy() if steps == 1 else np.zeros_like(bands)
            near[steps:] |= bands[:-steps]
            near[:-steps] |= bands[steps:]
            _or_spread(wide, near, float(np.sqrt(clearance_mm**2 - gap**2)), self.cell_mm, over, across)
        if up == 0:
            _or_spread(wide, bands, clearance_mm, self.cell_mm, over, across)
        corner = (self.corner[0] - across, self.corner[1] - over)
        return Shadow(wide.astype(np.uint8), corner, self.cell_mm, self.band_mm, self.height_mm)


def _reach_bands(clearance_mm: float, band_mm: float) -> int:
    """How many bands away something may be nearer than the clearance: those with a gap of less between them."""
    return int(np.ceil(clearance_mm / band_mm - 1e-9)) if clearance_mm > 0 else 0


def _reach_cells(clearance_mm: float, cell_mm: float) -> int:
    return int(np.ceil(clearance_mm / cell_mm - 1e-9)) if clearance_mm > 0 else 0


def _or_spread(
    wide: npt.NDArray[np.bool_],
    near: npt.NDArray[np.bool_],
    radius_mm: float,
    cell_mm: tuple[float, float],
    over: int,
    across: int,
) -> None:
    """Add to `wide` what is nearer than `radius_mm` to cells of `near`, row offset by row offset."""
    rows, columns = near.shape[1:]
    for dy in range(-over, over + 1):
        gap = max(abs(dy) - 1, 0) * cell_mm[1]
        half = radius_mm**2 - gap**2
        if half <= 0.0 and dy:
            continue
        reach = min(_reach_cells(float(np.sqrt(max(half, 0.0))), cell_mm[0]), across)
        count = np.zeros((*near.shape[:2], columns + 2 * across + 1), np.int32)
        # each cell counts from `reach` before it to `reach` behind
        count[:, :, across - reach : across - reach + columns] += near
        count[:, :, across + reach + 1 : across + reach + 1 + columns] -= near
        wide[:, over + dy : over + dy + rows] |= np.cumsum(count, axis=2)[:, :, :-1] > 0


def shadow_of(
    meshes: Sequence[Mesh], *, cell_mm: tuple[float, float], band_mm: float, steps: int = 1
) -> Shadow:
    """The shadow of some bodies together.

    Parameters
    ----------
    meshes : sequence of Mesh
        Closed and outward, millimetres, standing on z = 0. They may overlap one another, not themselves.
    cell_mm : (float, float)
    band_mm : float
    steps : int
        In which a quarter turn is divided: the bodies themselves are turned, not the cells.

    Raises
    ------
    InputError
        There is no body, one reaches below the platform, is not closed, or a length is not above 0.
    """
    bodies = [mesh for mesh in meshes if len(mesh.triangles)]
    _check(bodies, cell_mm, band_mm)
    shadow = _drawn(bodies, cell_mm, band_mm)
    between = (
        _drawn([_about_z(mesh, 90.0 * step / steps) for mesh in bodies], cell_mm, band_mm)
        for step in range(1, steps)
    )
    return replace(shadow, between=tuple(between))


def _about_z(mesh: Mesh, turn_deg: float) -> Mesh:
    cosine, sine = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    x, y, z = np.asarray(mesh.points, np.float64).T
    return Mesh(np.column_stack([cosine * x - sine * y, sine * x + cosine * y, z]), mesh.triangles)


def _drawn(bodies: Sequence[Mesh], cell_mm: tuple[float, float], band_mm: float) -> Shadow:
    low = np.min([mesh.bounds[0] for mesh in bodies], axis=0)
    high = np.max([mesh.bounds[1] for mesh in bodies], axis=0)
    steps = np.array([*cell_mm, band_mm])
    first = np.floor(low / steps).astype(np.int64)
    first[2] = 0
    columns, rows, bands = (np.maximum(np.ceil(high / steps - 1e-9).astype(np.int64) - first, 1)).tolist()
    cells = np.zeros((bands, rows, columns), np.uint8)
    for mesh in bodies:
        _mark(mesh, cells, first * steps, steps)
    corner = (int(first[0]), int(first[1]))
    return _trimmed(Shadow(cells, corner, (float(cell_mm[0]), float(cell_mm[1])), band_mm, float(high[2])))


def _check(bodies: list[Mesh], cell_mm: tuple[float, float], band_mm: float) -> None:
    if not bodies:
        raise InputError("there is no body", where="shadow", mend="Give a mesh with triangles.")
    if not min(*cell_mm, band_mm) > 0.0:
        raise InputError(
            f"cells of {cell_mm[0]} × {cell_mm[1]} mm in bands of {band_mm} mm",
            where="shadow",
            mend="Give lengths above 0.",
        )
    lowest = min(float(mesh.bounds[0, 2]) for mesh in bodies)
    if lowest < -1e-3:
        raise InputError(
            f"it reaches {-lowest:.3f} mm below the platform",
            where="shadow",
            mend="Lift it to z = 0 or above.",
        )


def _mark(mesh: Mesh, cells: Cells, origin_mm: npt.NDArray, steps: npt.NDArray) -> None:
    """Cells that the surface passes through, and those that the section through a band's middle fills.

    What the surface does not enter is full or empty all through the band, so one section decides.
    """
    places = np.ascontiguousarray((np.asarray(mesh.points, np.float64) - origin_mm) / steps)
    run_blocks(mark_bands, len(mesh.triangles), places, mesh.triangles, cells, block=TRIANGLE_BLOCK)
    bands, rows, columns = cells.shape
    corner = (float(origin_mm[0]), float(origin_mm[1]))
    grid = PixelGrid(corner, float(steps[0]), float(steps[1]), columns, rows)
    sections = section_layers(mesh.points, mesh.triangles, grid, Layers(0.0, float(steps[2]), bands))
    for batch in stream_coverage(sections):
        for band in batch.layers:
            y0, y1, x0, x1 = batch.window(band)
            cells[band, y0:y1, x0:x1] |= batch.image(band) > 0.5


def _trimmed(shadow: Shadow) -> Shadow:
    """In the least window that holds it."""
    rows, columns = np.nonzero(shadow.plan)
    y0, y1, x0, x1 = int(rows.min()), int(rows.max()) + 1, int(columns.min()), int(columns.max()) + 1
    corner = (shadow.corner[0] + x0, shadow.corner[1] + y0)
    cells = np.ascontiguousarray(shadow.cells[:, y0:y1, x0:x1])
    return Shadow(cells, corner, shadow.cell_mm, shadow.band_mm, shadow.height_mm)


def outline_of(meshes: Sequence[Mesh]) -> tuple[npt.NDArray[np.float64], ...]:
    """The outline of all bodies together as seen from above: loops (n, 2) in mm, holes clockwise.

    Raises
    ------
    InputError
        A body is not closed.
    """
    seen = [raw_manifold(mesh, where="outline").project() for mesh in meshes if len(mesh.triangles)]
    if not seen:
        return ()
    whole = CrossSection.batch_boolean(seen, OpType.Add).simplify(OUTLINE_MM)
    return tuple(np.array(loop, np.float64) for loop in whole.to_polygons())
