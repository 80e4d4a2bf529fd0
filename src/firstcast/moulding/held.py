"""What a pull holds: mould material on voxels, free to leave along it, against it, or locked; region by region."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation, find_objects

from firstcast.geometry.mesh import Mesh
from firstcast.kernels.locked import DOWN, LOCKED, UP, deepen
from firstcast.moulding.labels import EVERY_WAY, labelled
from firstcast.moulding.pull import frame_of
from firstcast.moulding.voxels import mark_voxels
from firstcast.moulding.webs import narrowest_web, widest_ball

PATCH_VOXELS = 3
"""A way out of fewer voxels is no way out: the surface's own roughness."""

OBLIQUE = 2.0 / 3.0
"""Area of a surface over that of the voxels' faces along it, in the mean over its directions."""

BYTES_PER_VOXEL = 10
"""State, label and what the labelling takes."""


@dataclass(frozen=True)
class Held:
    """The mould's voxels in a frame whose third axis is the pull.

    Attributes
    ----------
    frame : (3, 3) float64
        From figure space to the pull's frame: place = frame @ figure's place.
    origin_mm : (3,) float64
        Of the first voxel, in the pull's frame.
    pitch_mm : float
    states : (nx, ny, nz) uint8
        `firstcast.kernels.locked`: BODY, UP, DOWN, both of these, or LOCKED.
    labels : (nx, ny, nz) int32
        Region of each locked voxel, 1 up; 0 elsewhere. What is shut in on all sides is no mould material and has none.
    count : int
        Regions, those that are shut in among them.
    locked_mm3 : float
        Exact along the pull, what is shut in included.
    holes_mm2 : float
        Of holes right through along the pull, in which the halves meet.
    """

    frame: npt.NDArray[np.float64]
    origin_mm: npt.NDArray[np.float64]
    pitch_mm: float
    states: npt.NDArray[np.uint8]
    labels: npt.NDArray[np.int32]
    count: int
    locked_mm3: float
    holes_mm2: float

    def places_mm(self, voxels: npt.NDArray[np.integer]) -> npt.NDArray[np.float64]:
        """(n, 3) float64: voxels (n, 3) of the grid as places of the figure."""
        return (self.origin_mm + voxels * self.pitch_mm) @ self.frame

    def voxels_at(self, places_mm: npt.NDArray[np.floating]) -> npt.NDArray[np.int64]:
        """(n, 3) int64: the voxel nearest to each of the figure's places, held within the grid."""
        at = (np.asarray(places_mm, np.float64) @ self.frame.T - self.origin_mm) / self.pitch_mm
        return np.clip(np.rint(at).astype(np.int64), 0, np.array(self.states.shape) - 1)


def hold(mesh: Mesh, pull: npt.ArrayLike, pitch_mm: float) -> Held:
    """Sort the mould's voxels by whether they can leave along a pull or against it.

    Parameters
    ----------
    mesh : Mesh
        Closed and outward, millimetres in figure space.
    pull : (3,) float64
    pitch_mm : float

    Raises
    ------
    InputError
        The mesh is empty or isn't closed.
    SizeError
        The voxels would not fit this machine.
    """
    frame = frame_of(pull)
    voxels = mark_voxels(mesh, frame, pitch_mm, 2.0 * pitch_mm, bytes_per_voxel=BYTES_PER_VOXEL)
    states = voxels.states
    labels, count = labelled(states == LOCKED)
    return Held(
        frame, voxels.origin_mm, pitch_mm, states, labels, count,
        float(voxels.locked_pitches.sum()) * pitch_mm**3, _holes_mm2(states, pitch_mm),
    )  # fmt: skip


def _holes_mm2(states, pitch_mm: float) -> float:
    """Lines that meet no body but stand within its shadow."""
    clear = states[:, :, 0] == UP | DOWN
    rows, count = labelled(clear)
    if count < 2:
        return 0.0
    sizes = np.bincount(rows.ravel())[1:]
    sizes[rows[0, 0] - 1] = 0
    return float(sizes[sizes >= PATCH_VOXELS].sum()) * pitch_mm**2


@dataclass(frozen=True)
class Region:
    """Locked mould material that is nearest to one way out.

    Material that hangs together but has several ways out that don't is divided among these.

    Attributes
    ----------
    number : int
        In `Held.labels`: what hangs together.
    corner : (3,) int64
        First voxel of its window.
    mask : (a, b, c) bool
        Its voxels within the window, with one voxel round it.
    volume_mm3, depth_mm, mouth_mm2 : float
        Depth is the way from its mouth, through the region; the mouth is where it borders on free material.
    halves : (bool, bool)
        Whether its mouth borders on material that leaves along the pull, against it.
    web_mm2, link_mm : float
        The narrowest section across which it hangs together with what leaves by another mouth, of the same half, and the diameter
        of the largest ball that passes there; 0 if it hangs together with none.
    crossed : bool
        Whether its mouth borders on both halves, here on one only and there on the other only: the parting crosses it.
    parted : bool
        Whether it hangs together with what leaves by a mouth of the same half that the parting crosses: led through
        between the two, the parting cuts the loop.
    """

    number: int
    corner: npt.NDArray[np.int64]
    mask: npt.NDArray[np.bool_]
    volume_mm3: float
    depth_mm: float
    mouth_mm2: float
    halves: tuple[bool, bool]
    web_mm2: float
    link_mm: float
    crossed: bool
    parted: bool

    @property
    def voxels(self) -> npt.NDArray[np.int64]:
        """(n, 3) int64: its voxels in the grid of `Held`."""
        return np.argwhere(self.mask) + self.corner

    @property
    def captive(self) -> bool:
        """Whether rubber of one half goes in at this way out and leaves by another, and so links up round the body.

        Two ways out that don't hang together mean that a loop through both is linked with a handle of the body (by
        Mayer and Vietoris: the material and the rest of the mould each hang together). If they lead to different halves,
        or one of them borders on both halves, so that the parting crosses it, the parting cuts the loop.
        """
        return self.web_mm2 > 0.0


def regions_of(held: Held, least_mm3: float, *, narrowest: bool = True) -> list[Region]:
    """What hangs together in at least so much volume, the largest first; what is shut in on all sides is left out.

    Without `narrowest` how narrow links are is not looked for, which takes most of the time: only that there are some.
    """
    cell = held.pitch_mm**3
    sizes = np.bincount(held.labels.ravel(), minlength=held.count + 1)
    windows = find_objects(held.labels)
    told = [n for n in range(1, held.count + 1) if sizes[n] * cell >= least_mm3]
    found = [region for n in told for region in _divided(held, n, windows[n - 1], narrowest)]
    return sorted(found, key=lambda region: -region.volume_mm3)


def _divided(held: Held, number: int, window, narrowest: bool) -> list[Region]:
    """What hangs together under one number, divided by the mouth that each voxel is nearest to."""
    # locked voxels never lie in the grid's outermost layers, so there is room for one voxel more all round
    wider = tuple(slice(s.start - 1, s.stop + 1) for s in window)
    mask = np.ascontiguousarray(held.labels[wider] == number)
    states = held.states[wider]
    free = (states & (UP | DOWN)) != 0
    rim = binary_dilation(mask) & free
    mouths, halves = _mouths(rim, states)
    if not halves:
        return []
    # the rim's voxels are half a voxel before the mouth
    depth = np.where(mouths > 0, np.float32(-0.5), np.float32(1e9))
    owner = mouths.copy()
    deepen(mask.astype(np.uint8), depth, owner)
    owner = np.where(mask, owner, 0)
    corner = np.array([s.start for s in wider], np.int64)
    links = _Links(states, mask, mouths, owner, halves)
    faces = _mouth_faces(mask, mouths, len(halves))
    h = held.pitch_mm
    regions = []
    for n, half in enumerate(halves, start=1):
        mine = owner == n
        if not mine.any():
            continue
        web, ball = links.captive(n, narrowest)
        deepest = float(depth[mine].max()) + 0.5
        regions.append(
            Region(
                number, corner, mine, float(mine.sum()) * h**3, deepest * h, float(faces[n]) * OBLIQUE * h * h,
                half, web * h * h, ball * h, links.crossed[n], links.parted(n),
            )
        )  # fmt: skip
    return regions


class _Links:
    """Which ways out of what hangs together lead to the same half, and how narrow it is between them."""

    def __init__(self, states, mask, mouths, owner, halves) -> None:
        self._states, self._mask, self._mouths, self._owner = states, mask, mouths, owner
        count = len(halves)
        self._size = np.bincount(owner.ravel(), minlength=count + 1)
        self.crossed = [False]
        for n in range(1, count + 1):
            there = states[mouths == n]
            self.crossed.append(all(int((there == half).sum()) >= PATCH_VOXELS for half in (UP, DOWN)))
        touch = _touching(owner, count)
        self._captive: list[list[int]] = [[] for _ in range(count + 1)]
        self._parted = [False] * (count + 1)
        self._known: dict[tuple[int, int], tuple[float, float]] = {}
        for n in range(1, count + 1):
            for m in range(1, count + 1):
                if m == n or not touch[n, m] or not np.logical_and(halves[n - 1], halves[m - 1]).any():
                    continue
                if not (self.crossed[n] or self.crossed[m]):
                    self._captive[n].append(m)
                elif self._size[n] <= self._size[m]:
                    self._parted[n] = True

    def parted(self, n: int) -> bool:
        """Whether the parting has to be led through between this way out and a larger one."""
        return self._parted[n]

    def captive(self, n: int, narrowest: bool) -> tuple[float, float]:
        """Narrowest section, in faces, and widest ball, in voxels across, between a way out and others that the parting can't part."""
        others = self._captive[n]
        if not others:
            return 0.0, 0.0
        if not narrowest:
            return float(PATCH_VOXELS), 0.0
        # between two it is the same from either side
        pair = (min(n, others[0]), max(n, others[0])) if len(others) == 1 else (n, 0)
        if pair not in self._known:
            self._known[pair] = self._between(n, others)
        return self._known[pair]

    def _between(self, n: int, others: list[int]) -> tuple[float, float]:
        both = self._mask & np.isin(self._owner, [n, *others])
        one, other = self._mouths == n, np.isin(self._mouths, others)
        beside = binary_dilation(one) & both, binary_dilation(other) & both
        web = narrowest_web(both, beside[0] & ~beside[1], beside[1])
        ball = 2.0 * widest_ball(self._states, both, one, other)
        # where the two ways out touch the same voxels there is nothing between them
        return (web.faces if web is not None else float(PATCH_VOXELS)), ball


def _mouths(rim, states) -> tuple[npt.NDArray[np.int32], list[tuple[bool, bool]]]:
    """Ways out, numbered from 1, and the halves each leads to; those of a few voxels only count where there is no other."""
    parts, count = labelled(rim, EVERY_WAY)
    sizes = np.bincount(parts.ravel(), minlength=count + 1)
    kept = [n for n in range(1, count + 1) if sizes[n] >= PATCH_VOXELS] or list(range(1, count + 1))
    numbers = np.zeros(count + 1, np.int32)
    numbers[kept] = np.arange(1, len(kept) + 1)
    there = [states[parts == n] for n in kept]
    return numbers[parts], [(bool((s & UP).any()), bool((s & DOWN).any())) for s in there]


def _touching(owner, count: int) -> npt.NDArray[np.bool_]:
    """(count + 1, count + 1) bool: which owners' voxels share faces."""
    touch = np.zeros((count + 1, count + 1), np.bool_)
    for axis in range(3):
        one, two = np.moveaxis(owner, axis, 0)[1:], np.moveaxis(owner, axis, 0)[:-1]
        meets = (one != two) & (one > 0) & (two > 0)
        touch[one[meets], two[meets]] = True
    return touch | touch.T


def _mouth_faces(mask, mouths, count: int) -> npt.NDArray[np.int64]:
    """(count + 1,) int64: faces between the material and each mouth."""
    faces = np.zeros(count + 1, np.int64)
    for axis in range(3):
        for step in (-1, 1):
            beside = np.roll(mask, step, axis=axis)
            faces += np.bincount(mouths[beside & (mouths > 0)], minlength=count + 1)
    return faces
