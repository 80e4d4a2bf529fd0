"""What fuse tells the maker: hollows, grains, separate bodies, thin places, growth, shells that aren't closed."""

import numpy as np

from firstcast.fields.thin import ThinPlaces
from firstcast.fields.union import Lattice
from firstcast.fields.voids import Components
from firstcast.findings import Finding
from firstcast.geometry.mesh import Mesh, Part
from firstcast.geometry.pieces import Side
from firstcast.tolerances import TOLERANCES
from firstcast.vocabulary import Verdict

SMALL_HOLLOW_MM3 = 0.1
"""Sealed hollows up to this, half a millimetre wide, are told together: overlapping relief leaves hundreds, and nobody means one."""

GROWTH_RATIO = 0.01
"""A body this much larger than its parts is told: rules of size that differ by as much are, too."""

MOST_THIN_PLACES = 12
"""Findings of thin places per piece, the thinnest first; the rest are counted in a measure."""


def void_findings(names, components: Components, sealed, filled: bool) -> list[Finding]:
    """One finding per hollow, the small ones together at the largest of them."""
    done = "was filled" if filled else "is left as it is"
    mend = (
        "If it is meant, open it to the outside; if not, nothing needs doing."
        if filled
        else "Open it to the outside, or let [fuse] fill_voids be true."
    )
    order = sorted(np.flatnonzero(sealed), key=lambda n: components.volume_mm3[n])
    large = [n for n in order if -components.volume_mm3[n] > SMALL_HOLLOW_MM3]
    small = order[len(large) :]
    found = []
    for n in [*large, *small[:1]]:
        volume = float(-components.volume_mm3[n])
        says = f"A hollow of {volume:.3g} mm³ inside the body has no way out; it {done}."
        if n not in large:
            total = float(-components.volume_mm3[small].sum())
            says = f"{len(small)} hollows of at most {volume:.2g} mm³, together {total:.2g} mm³, have no way out; each {done}."
        found.append(
            Finding(
                station="fuse",
                code="sealed-void" if n in large else "small-voids",
                verdict=Verdict.WATCH if n in large or not filled else Verdict.SOUND,
                part=names[components.part[n]],
                says=says,
                mend=mend,
                place_mm=_place(components.middle_mm[n]),
                measured=volume,
                limit=0.0,
                unit="mm3",
                worse="high",
            )
        )
    return found


def fragment_findings(names, components: Components, small) -> list[Finding]:
    """One finding per grain that was dropped."""
    return [
        Finding(
            station="fuse",
            code="loose-fragment",
            verdict=Verdict.WATCH,
            part=names[components.part[n]],
            says=f"A loose grain of '{names[components.part[n]]}', {components.extent_mm[n]:.2f} mm at its longest, "
            "hung on nothing and was dropped.",
            mend="Join it to the figure, or lower [fuse] drop_fragments_mm to keep it.",
            place_mm=_place(components.middle_mm[n]),
            measured=float(components.extent_mm[n]),
            unit="mm",
            worse="high",
        )
        for n in np.flatnonzero(small)
    ]


def separate_findings(piece: str, components: Components, bodies) -> list[Finding]:
    """One finding per body but the largest."""
    order = sorted(np.flatnonzero(bodies), key=lambda n: -components.volume_mm3[n])
    return [
        Finding(
            station="fuse",
            code="separate-body",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"A body of {components.volume_mm3[n]:.3g} mm³, {components.extent_mm[n]:.2f} mm at its longest, "
            "doesn't touch the rest of the piece.",
            mend="Move it until it overlaps the figure, or make it a piece of its own.",
            place_mm=_place(components.middle_mm[n]),
            measured=float(components.volume_mm3[n]),
            unit="mm3",
            worse="high",
        )
        for n in order[1:]
    ]


def _thins(least_mm: float) -> str:
    """How thin a place is: an edge that a part tapers to has no thickness to name."""
    return f"is {least_mm:.3f} mm thin" if least_mm >= 0.0005 else "thins out to an edge"


def thin_findings(names, thin: ThinPlaces, lattice: Lattice) -> list[Finding]:
    """The thinnest places, one finding each."""
    limit = TOLERANCES.thin_pitches * float(lattice.pitch_mm.min())
    return [
        Finding(
            station="fuse",
            code="thin-place",
            verdict=Verdict.WATCH,
            part=names[thin.part[n]],
            says=f"'{names[thin.part[n]]}' {_thins(thin.thickness_mm[n])} over about {thin.area_mm2[n]:.2g} mm²: "
            f"below {limit:.3f} mm, two steps of the lattice, shape is lost.",
            mend=f"Thicken it to {limit:.3f} mm or more; it is far below what can be cast.",
            place_mm=_place(thin.place_mm[n]),
            measured=float(thin.thickness_mm[n]),
            limit=limit,
        )
        for n in range(min(len(thin.thickness_mm), MOST_THIN_PLACES))
    ]


def growth_findings(piece: str, parts: tuple[Part, ...], mesh: Mesh) -> list[Finding]:
    """A body that is larger than its parts: open surfaces stand out by half the thickness they were given."""
    bounds = np.array([part.mesh.bounds for part in parts if len(part.mesh.triangles)])
    were = bounds[:, 1].max(axis=0) - bounds[:, 0].min(axis=0)
    grown = (mesh.bounds[1] - mesh.bounds[0]) - were
    axis = int(np.argmax(grown / were.max()))
    if grown[axis] <= GROWTH_RATIO * were[axis]:
        return []
    now = float(were[axis] + grown[axis])
    return [
        Finding(
            station="fuse",
            code="grown",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"The body is {now:.2f} mm long along {'xyz'[axis]} where its parts are {were[axis]:.2f}: open surfaces "
            "stand out by half of the thickness they were given.",
            mend="Clothes and hair over a body want [intake] close_holes_mm above their openings, so that they are filled; "
            "free cloth wants a smaller sheet_thickness_mm.",
            measured=now,
            limit=float(were[axis] * (1.0 + GROWTH_RATIO)),
            worse="high",
        )
    ]


def cut_findings(piece: str, cut: Side, crossings: int) -> list[Finding]:
    """Triangles that cross at the face of a cut after rounding."""
    if not crossings:
        return []
    return [
        Finding(
            station="fuse",
            code="cut-crossing",
            verdict=Verdict.STOP,
            part=piece,
            says=f"{crossings} triangles along the cut cross others after rounding to the file's numbers.",
            mend="Move keep's place_mm by a tenth of a millimetre.",
            place_mm=cut.place_mm,
            measured=float(crossings),
            limit=0.0,
            unit="count",
            worse="high",
        )
    ]


def disagreement_findings(piece: str, count: int, leaking: int) -> list[Finding]:
    """Lattice points that don't come out the same along x, y and z, and lines that enter without leaving."""
    if not count and not leaking:
        return []
    return [
        Finding(
            station="fuse",
            code="axes-disagree",
            verdict=Verdict.WATCH,
            part=piece,
            says=f"Seen along x, y and z, {count} lattice points don't come out the same ({leaking} lines enter without "
            "leaving): some shell isn't closed. The majority was taken.",
            mend="Close the shell's holes in the sculpture, or raise [intake] close_holes_mm.",
            measured=float(count),
            limit=0.0,
            unit="points",
            worse="high",
        )
    ]


def _place(place_mm) -> tuple[float, float, float]:
    return (float(place_mm[0]), float(place_mm[1]), float(place_mm[2]))
