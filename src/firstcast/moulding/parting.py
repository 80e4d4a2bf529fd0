"""Where the halves of the mould meet: the seam on the figure, the surface between the halves, what each half is asked for."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.ndimage import find_objects, label

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.whereabouts import where
from firstcast.geometry.zones import Zone
from firstcast.kernels.parting import LOWER, STEPS, UPPER
from firstcast.moulding.halves import EDGE, FACE, Halves, halve
from firstcast.moulding.parting_words import parting_words
from firstcast.moulding.seam import Seam, curve_length, trace_seam
from firstcast.moulding.sections import Section, sections_of
from firstcast.moulding.skin import Skin, read_skin

LEAST_SHUT_OFF_FACES = 6.0
"""A place in which the halves meet over fewer voxels' faces is not told."""

IN_DETAIL = 0.5
"""Share of full relief from which a seam counts as crossing it."""

UNDERCUT_DEG = 2.0
"""Surface that looks back into the other half by less is within a voxel's roughness."""

Place = tuple[float, float, float]


@dataclass(frozen=True)
class ShutOff:
    """A place inside the silhouette in which the halves meet: the mould must close there.

    words : where it is, as "front left, 21 mm up".
    """

    place_mm: Place
    area_mm2: float
    words: str


@dataclass(frozen=True)
class Parting:
    """Where the halves meet.

    Attributes
    ----------
    pull : (3,) float64
        Of length 1: the upper half leaves along it, the lower one against it.
    seams : tuple of (n, 3) float64
        Closed curves on the body in figure space, mm, the longest first; the last place of each is joined to the first.
    half_of_triangle : (m,) uint8
        1 where the body's triangle lies in the upper half, else 0.
    length_mm : float
        Of all seams.
    flatness_mm, flatness_rms_mm : float
        How far the seams lie from the plane that fits them best: greatest, and root of the mean square.
    level_mm, level_rms_mm : float
        The same from a plane at right angles to the pull.
    crosses_detail_mm, crosses_precious_mm, seen_mm : float
        Length of the seams in relief, in precious zones, and in open view of someone who stands in front.
    shut_offs : tuple of ShutOff
        The largest first.
    surface_mm2 : float
        Of the parting within the block, shut-offs among it; known at 0.95 to 1.15 of what it is.
    locked_mm3 : float
        Mould material that its half can't take along.
    upper_mm3, lower_mm3 : float
        Mould material of each half within the block, what is locked included.
    steep_mm2 : (float, float)
        Surface of the upper half and of the lower that leans less than the draft from the pull.
    undercut_mm2 : (float, float)
        Surface of each that looks back into the other half.
    sections : tuple of Section
        Cuts through the mould that hold the pull.
    words : tuple of str
        What the maker should know, sentence by sentence.
    """

    pull: npt.NDArray[np.float64]
    seams: tuple[npt.NDArray[np.float64], ...]
    half_of_triangle: npt.NDArray[np.uint8]
    length_mm: float
    flatness_mm: float
    flatness_rms_mm: float
    level_mm: float
    level_rms_mm: float
    crosses_detail_mm: float
    crosses_precious_mm: float
    seen_mm: float
    shut_offs: tuple[ShutOff, ...]
    surface_mm2: float
    locked_mm3: float
    upper_mm3: float
    lower_mm3: float
    steep_mm2: tuple[float, float]
    undercut_mm2: tuple[float, float]
    sections: tuple[Section, ...]
    words: tuple[str, ...]


def part_mould(
    body: Body,
    pull: npt.ArrayLike,
    *,
    pitch_mm: float,
    zones: tuple[Zone, ...] = (),
    draft_deg: float = 1.0,
    margin_mm: float = 3.0,
) -> Parting:
    """Part the mould of a body along a pull.

    Parameters
    ----------
    body : Body
        In figure space, millimetres; closed and outward.
    pull : (3,) float64
        The upper half leaves along it.
    pitch_mm : float
        Of the voxels.
    zones : tuple of Zone
        The seam keeps out of the precious ones where there is a way round.
    draft_deg : float
        Surface that leans less than this from the pull is counted as steep.
    margin_mm : float
        How far the block reaches beyond the body.

    Raises
    ------
    InputError
        The mesh is empty or isn't closed, or the pull has no direction.
    SizeError
        The voxels would not fit this machine.
    """
    skin = read_skin(
        body.mesh, pitch_mm, zones, part_of_triangle=body.part_of_triangle, part_names=body.part_names
    )
    halves = halve(body.mesh, skin, pull, pitch_mm, margin_mm=margin_mm)
    return parted(body.mesh, skin, halves, draft_deg=draft_deg)


def parted(mesh: Mesh, skin: Skin, halves: Halves, *, draft_deg: float = 1.0) -> Parting:
    """The parting of a mould that is cut in halves: see `part_mould`."""
    seam = trace_seam(halves, skin)
    pull = halves.frame[2].copy()
    flat, level = flatness_mm(seam.curves_mm, None), flatness_mm(seam.curves_mm, pull)
    outer, shut_offs = surfaces_of(halves, mesh)
    upper, lower = halves.labels == UPPER, halves.labels == LOWER
    cell = halves.cell_mm3
    steep, undercut = _draft(skin, seam, pull, draft_deg)
    detail, precious, seen = (
        _length_where(seam, mask) for mask in (skin.detail >= IN_DETAIL, skin.precious, skin.in_view)
    )
    length = sum(curve_length(curve) for curve in seam.curves_mm)
    spot = np.array(shut_offs[0].place_mm) if shut_offs else None
    found = Parting(
        pull=pull,
        seams=seam.curves_mm,
        half_of_triangle=_half_of_triangle(mesh, skin, seam),
        length_mm=length,
        flatness_mm=flat[0], flatness_rms_mm=flat[1], level_mm=level[0], level_rms_mm=level[1],
        crosses_detail_mm=detail, crosses_precious_mm=precious, seen_mm=seen,
        shut_offs=shut_offs,
        surface_mm2=outer + sum(each.area_mm2 for each in shut_offs),
        locked_mm3=float(halves.locked.sum()) * cell,
        upper_mm3=float(upper.sum()) * cell, lower_mm3=float(lower.sum()) * cell,
        steep_mm2=steep, undercut_mm2=undercut,
        sections=sections_of(halves, mesh, spot),
        words=(),
    )  # fmt: skip
    return replace(found, words=parting_words(found))


def flatness_mm(
    curves: tuple[npt.NDArray[np.float64], ...], normal: npt.NDArray[np.float64] | None
) -> tuple[float, float]:
    """Greatest and root mean square distance of curves from a plane, of this normal or of the one that fits best."""
    if not curves:
        return 0.0, 0.0
    places = np.concatenate(curves)
    # places lie at even steps along a curve, but not at the same on each
    weight = np.concatenate([np.full(len(c), curve_length(c) / len(c)) for c in curves])
    centred = places - np.average(places, axis=0, weights=weight)
    if normal is None:
        normal = np.linalg.eigh((centred * weight[:, None]).T @ centred)[1][:, 0]
    off = centred @ normal
    middle = 0.5 * (off.max() + off.min())
    return float(np.abs(off - middle).max()), float(np.sqrt(np.average(off**2, weights=weight)))


def surfaces_of(halves: Halves, mesh: Mesh) -> tuple[float, tuple[ShutOff, ...]]:
    """Area of the parting that reaches the block's outside, and the pieces of it that don't."""
    labels = halves.labels
    beside = np.zeros(labels.shape, np.bool_)
    for axis in range(3):
        one, other = [slice(None)] * 3, [slice(None)] * 3
        one[axis], other[axis] = slice(1, None), slice(None, -1)
        # UPPER | LOWER is NONE, and so is NONE with either of them
        meet = (labels[tuple(one)] ^ labels[tuple(other)]) == UPPER ^ LOWER
        beside[tuple(one)] |= meet
        beside[tuple(other)] |= meet
    rows = np.empty(labels.shape, np.int32)
    count = int(label(beside, structure=np.ones((3, 3, 3)), output=rows))  # type: ignore[arg-type]
    rims = np.concatenate([rows[0].ravel(), rows[-1].ravel(), rows[:, 0].ravel(), rows[:, -1].ravel()])
    outside = set(np.unique(rims).tolist())
    outer, inner = 0.0, []
    for number, window in enumerate(find_objects(rows), start=1):
        mine = rows[window] == number
        area = _area(mine, labels[window]) * halves.pitch_mm**2
        if number in outside:
            outer += area
        elif area >= LEAST_SHUT_OFF_FACES * halves.pitch_mm**2:
            voxels = np.argwhere(mine)
            middle = voxels[int(((voxels - voxels.mean(axis=0)) ** 2).sum(axis=1).argmin())]
            x, y, z = halves.places_mm(middle[None] + [s.start for s in window])[0].tolist()
            inner.append(ShutOff((x, y, z), area, where(mesh, (x, y, z))))
    assert count >= len(inner)
    return outer, tuple(sorted(inner, key=lambda each: -each.area_mm2))


def _area(mine, labels) -> float:
    """Of the surface between the halves among some voxels, in faces, as the cut counts it."""
    total = 0.0
    for step in STEPS[9:]:
        one = tuple(slice(max(s, 0), n + min(s, 0)) for s, n in zip(step, mine.shape, strict=True))
        other = tuple(slice(max(-s, 0), n + min(-s, 0)) for s, n in zip(step, mine.shape, strict=True))
        meet = mine[one] & mine[other] & (labels[one] != labels[other])
        total += (FACE if np.abs(step).sum() == 1 else EDGE) * float(meet.sum())
    return total


def _draft(skin: Skin, seam: Seam, pull, draft_deg: float):
    """(upper, lower) mm² that lean less than the draft from the pull, and that look back into the other half."""
    along = skin.normals @ pull
    steep = np.abs(along) < np.sin(np.radians(draft_deg))
    back = np.where(seam.upper, along, -along) < -np.sin(np.radians(UNDERCUT_DEG))

    def by_half(mask) -> tuple[float, float]:
        return (
            float(skin.area_mm2[mask & seam.upper].sum()),
            float(skin.area_mm2[mask & ~seam.upper].sum()),
        )

    return by_half(steep), by_half(back)


def _length_where(seam: Seam, mask) -> float:
    """Length of the seams beside triangles of a mask."""
    return sum(
        curve_length(curve) * float(mask[rows].mean())
        for curve, rows in zip(seam.curves_mm, seam.triangles, strict=True)
    )


def _half_of_triangle(mesh: Mesh, skin: Skin, seam: Seam) -> npt.NDArray[np.uint8]:
    """The half that most of each of the body's triangles lies in."""
    if len(skin.stands_for):
        votes = seam.upper_vertex[skin.stands_for][mesh.triangles].sum(axis=1)
        return (votes >= 2).astype(np.uint8)
    signed = np.where(seam.upper, skin.area_mm2, -skin.area_mm2)
    total = np.bincount(skin.origin, weights=signed, minlength=len(mesh.triangles))
    return (total >= 0.0).astype(np.uint8)
