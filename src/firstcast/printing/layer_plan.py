"""A run made ready for its layers: which cuts of which masters stand where on the printer's pixels."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from firstcast.errors import InputError
from firstcast.fields.coverage import Layers, PixelGrid, Sections, section_layers
from firstcast.geometry.mesh import Mesh
from firstcast.kernels.layer_images import hulls
from firstcast.printing.propped import Propped
from firstcast.printing.run import Placement, Run, cosine_sine

PHASES = 1 << 20
"""Places within a pixel are told apart to this part of it: what rounding moves them by is far less."""

SLACK = 1e-6
"""Of a layer or pixel: a height that rounding puts so little above a whole number of layers needs no further one."""


class Screen(NamedTuple):
    """The printer's pixels: pixel 0, 0 lies in the platform's corner x = y = 0, columns run along x and rows along y.

    `mirrored`: columns run the other way, for a printer whose image is seen from beneath.
    """

    nx: int
    ny: int
    pixel_x_mm: float
    pixel_y_mm: float
    mirrored: bool = False

    @property
    def pixel_mm2(self) -> float:
        """Area of a pixel."""
        return self.pixel_x_mm * self.pixel_y_mm


@dataclass(frozen=True)
class Cut:
    """One master in one turn, at one place within a pixel, ready to be cut.

    Attributes
    ----------
    master : str
    turn_deg : float
        Counter-clockwise seen from above.
    piece, props : Sections
        On the same grid, which reaches around both.
    windows : (count, 4) int32
        Rows y0:y1 and columns x0:x1 of the grid that hold both, per layer.
    """

    master: str
    turn_deg: float
    piece: Sections
    props: Sections
    windows: npt.NDArray[np.int32]


class Stamp(NamedTuple):
    """One copy on the platform: which cut, and the platform's row and column at which the cut's grid begins."""

    cut: int
    row: int
    column: int


@dataclass(frozen=True)
class LayerPlan:
    """A run, ready to be drawn layer by layer."""

    run: Run
    screen: Screen
    layers: Layers
    cuts: tuple[Cut, ...]
    stamps: tuple[Stamp, ...]

    def copies(self, cut: int) -> int:
        """How often a cut stands on the platform."""
        return sum(stamp.cut == cut for stamp in self.stamps)


def plan_layers(
    run: Run,
    masters: Mapping[str, Propped],
    screen: Screen,
    *,
    layer_mm: float,
    build_z_mm: float | None = None,
) -> LayerPlan:
    """Sort all meshes by layers, each distinct cut once.

    Parameters
    ----------
    masters : mapping of master to Propped
        All that the run names.
    build_z_mm : float, optional
        How high the printer builds at most.

    Raises
    ------
    InputError
        The run is empty or names a master that isn't there; a copy reaches over the platform's edge or above what
        the printer builds.
    """
    _check(run, masters, screen, layer_mm)
    height = max(masters[placement.master].height_mm for placement in run.placements)
    if build_z_mm is not None and height > build_z_mm * (1 + SLACK):
        raise InputError(
            f"the highest piece stands {height:.2f} mm high, and the printer builds {build_z_mm:g} mm",
            where=f"run {run.name!r}",
            mend="Lean it further, or make the figure smaller or in more pieces.",
        )
    layers = Layers(0.0, layer_mm, max(1, int(np.ceil(height / layer_mm - SLACK))))
    cuts: list[Cut] = []
    known: dict[tuple, tuple[int, tuple[int, int]]] = {}
    stamps: list[Stamp] = []
    for placement in run.placements:
        turn = placement.turn_deg % 360.0
        (column, phase_x), (row, phase_y) = (
            _phase(at, pixel)
            for at, pixel in (
                (placement.x_mm, screen.pixel_x_mm),
                (placement.y_mm, screen.pixel_y_mm),
            )
        )
        key = (placement.master, turn, phase_x, phase_y)
        if key not in known:
            propped = masters[placement.master]
            piece, props = (_turned(mesh, turn) for mesh in (propped.piece, propped.props))
            grid, offsets = _grid(piece, props, (phase_x / PHASES, phase_y / PHASES), screen)
            known[key] = len(cuts), offsets
            cuts.append(_cut(placement.master, piece, props, turn, grid, layers))
        number, offsets = known[key]
        stamp = Stamp(number, row + offsets[1], column + offsets[0])
        _check_inside(run, placement, stamp, cuts[number].piece.grid, screen)
        stamps.append(stamp)
    return LayerPlan(run, screen, layers, tuple(cuts), tuple(stamps))


def _phase(at_mm: float, pixel_mm: float) -> tuple[int, int]:
    """Whole pixels, and what is left in parts of a pixel."""
    whole, rest = divmod(round(at_mm / pixel_mm * PHASES), PHASES)
    return whole, rest


def _turned(mesh: Mesh, turn_deg: float) -> Mesh:
    """The mesh as 3MF and STL have it, its points in float32, turned about z counter-clockwise from above, in float64.

    So images and meshes are of one body to the last digit, also where its surface lies almost along the layers.
    """
    cosine, sine = cosine_sine(turn_deg)
    x, y, z = np.asarray(mesh.points, np.float32).astype(np.float64).T
    turned = np.column_stack([cosine * x - sine * y, sine * x + cosine * y, z])
    return Mesh(turned, mesh.triangles)


def _grid(
    piece: Mesh, props: Mesh, phase: tuple[float, float], screen: Screen
) -> tuple[PixelGrid, tuple[int, int]]:
    """Pixels around a turned piece and its props, and how many of them lie between its middle's pixel and the grid."""
    meshes = [mesh for mesh in (piece, props) if len(mesh.triangles)]
    low = np.min([mesh.bounds[0, :2] for mesh in meshes], axis=0)
    high = np.max([mesh.bounds[1, :2] for mesh in meshes], axis=0)
    pixel = np.array([screen.pixel_x_mm, screen.pixel_y_mm])
    first = np.floor(low / pixel + phase + SLACK).astype(int)
    stop = np.ceil(high / pixel + phase - SLACK).astype(int)
    corner = (first - np.array(phase)) * pixel
    size = np.maximum(stop - first, 1)
    grid = PixelGrid(
        (float(corner[0]), float(corner[1])),
        screen.pixel_x_mm,
        screen.pixel_y_mm,
        int(size[0]),
        int(size[1]),
    )
    return grid, (int(first[0]), int(first[1]))


def _cut(master: str, piece: Mesh, props: Mesh, turn_deg: float, grid: PixelGrid, layers: Layers) -> Cut:
    sections = [section_layers(mesh.points, mesh.triangles, grid, layers) for mesh in (piece, props)]
    windows = np.zeros((layers.count, 4), np.int32)
    hulls(sections[0].windows, sections[1].windows, windows)
    return Cut(master, turn_deg, sections[0], sections[1], windows)


def _check(run: Run, masters: Mapping[str, Propped], screen: Screen, layer_mm: float) -> None:
    where = f"run {run.name!r}"
    if not run.placements:
        raise InputError("nothing stands on the platform", where=where, mend="Place at least one master.")
    if min(screen.nx, screen.ny) < 1 or min(screen.pixel_x_mm, screen.pixel_y_mm, layer_mm) <= 0:
        raise InputError(
            f"{screen.nx} x {screen.ny} pixels of {screen.pixel_x_mm} x {screen.pixel_y_mm} mm, layers of {layer_mm} mm",
            where=where,
            mend="Give more than 0 of each.",
        )
    for placement in run.placements:
        propped = masters.get(placement.master)
        if propped is None:
            raise InputError(
                f"there is no master {placement.master!r}",
                where=where,
                mend=f"Give one of {sorted(masters)}.",
            )
        if not len(propped.piece.triangles):
            raise InputError(
                "the piece has no triangles", where=repr(placement.master), mend="Make it again."
            )


def _check_inside(run: Run, placement: Placement, stamp: Stamp, grid: PixelGrid, screen: Screen) -> None:
    if not (0 <= stamp.column <= screen.nx - grid.nx and 0 <= stamp.row <= screen.ny - grid.ny):
        raise InputError(
            f"{placement.master!r} at ({placement.x_mm:.3f}, {placement.y_mm:.3f}) mm reaches over the edge of the "
            f"platform: pixels {stamp.column} to {stamp.column + grid.nx} of {screen.nx}, "
            f"{stamp.row} to {stamp.row + grid.ny} of {screen.ny}",
            where=f"run {run.name!r}",
            mend="Move it inward, or let the platform station place it.",
        )
