"""Rows on a run's meshes, and what each master's layers should come to by them."""

from dataclasses import dataclass
from pathlib import Path

import manifold3d
import numpy as np
import numpy.typing as npt

from firstcast.proof.distances import nearest
from firstcast.proof.expected_run import ExpectedRun, Standing
from firstcast.proof.layer_sections import LayerSections, section_all
from firstcast.proof.read import read_stl
from firstcast.proof.rows import ProofRow, counted, many, measured
from firstcast.proof.run_package import RunObject, RunPackage
from firstcast.proof.surface import connect, weld
from firstcast.proof.tree import build_tree
from firstcast.vocabulary import Verdict

ROUNDED_MM = 2e-5
"""Places of an STL are float32: within 256 mm two ways of rounding lie 1.6e-5 mm apart at most."""

TURNED_MM = 5e-5
"""A master's corners, turned and lifted, are rounded to float32 twice: within 256 mm by 1.6e-5 mm each time."""

TIP_MM = 0.8
"""A contact lies within its neck, half a width of it and no deeper than it enters from its surface at most."""


def props_name(master: str) -> str:
    """Name of the object that holds a master's props."""
    return f"{master} props"


@dataclass(frozen=True)
class Part:
    """A piece or its props: sections by all layers, and the solid for polygons."""

    sections: LayerSections
    solid: manifold3d.Manifold


@dataclass(frozen=True)
class Shape:
    """What a master's layers should come to.

    Attributes
    ----------
    parts : tuple of Part
        Piece and props, if any.
    areas_mm2, outlines_mm, shared_mm2 : (count,) float64
        Of both together; the length of both outlines; the area that both share, at tips.
    """

    parts: tuple[Part, ...]
    areas_mm2: npt.NDArray[np.float64]
    outlines_mm: npt.NDArray[np.float64]
    shared_mm2: npt.NDArray[np.float64]

    @staticmethod
    def placed(places_mm: npt.NDArray[np.float64], standing: Standing) -> npt.NDArray[np.float64]:
        """(n, 2) places of a master where a copy of it stands."""
        return places_mm @ standing.matrix.T + np.array([standing.x_mm, standing.y_mm])


def shape_of(package: RunPackage, master: str, expected: ExpectedRun) -> Shape:
    """A master's sections, from the 3MF's meshes."""
    found = [package.objects[name] for name in (master, props_name(master)) if name in package.objects]
    parts = tuple(Part(_sections(entry.points, entry.triangles, expected), _solid(entry)) for entry in found)
    count = expected.layer_count
    areas = sum((part.sections.areas_mm2 for part in parts), np.zeros(count))
    outlines = sum((part.sections.outlines_mm for part in parts), np.zeros(count))
    shared = np.zeros(count)
    if len(parts) == 2:
        both = (parts[0].solid ^ parts[1].solid).to_mesh()
        triangles = np.asarray(both.tri_verts, np.int32)
        points = np.asarray(both.vert_properties)[:, :3]
        shared = _sections(points, triangles, expected).areas_mm2
    return Shape(parts, areas - shared, outlines, shared)


def _sections(
    points: npt.NDArray[np.floating], triangles: npt.NDArray[np.int32], expected: ExpectedRun
) -> LayerSections:
    return section_all(points, triangles, expected.layer_mm, expected.layer_count)


def _solid(entry: RunObject) -> manifold3d.Manifold:
    mesh = manifold3d.Mesh(entry.points.astype(np.float32), entry.triangles.astype(np.uint32))
    return manifold3d.Manifold(mesh)


def package_rows(package: RunPackage, expected: ExpectedRun) -> list[ProofRow]:
    """The 3MF: unit, standard, closed objects, and each copy's piece and props where they should stand."""
    wanted = {name for s in expected.standing for name in (s.master,)}
    lacking = sorted(wanted - package.objects.keys())
    open_objects = [entry.name for entry in package.objects.values() if entry.faults]
    empty = [
        entry.name
        for entry in package.objects.values()
        if not entry.faults and _solid(entry).status() != manifold3d.Error.NoError
    ]
    places = _place_faults(package, expected)
    text = f"{many(len(package.items), 'build item')} for {many(len(expected.standing), 'copy', 'copies')} with props"
    return [
        ProofRow(
            "unit of the run's 3MF",
            f"the 3MF says {package.unit}",
            None,
            None,
            "",
            Verdict.SOUND if package.unit == "millimeter" else Verdict.STOP,
        ),
        counted(
            "the run's 3MF against the standard",
            f"{package.warnings} warnings of a strict reader; {len(lacking)} masters lacking",
            package.warnings + len(lacking),
        ),
        counted(
            "the run's meshes closed",
            f"{len(package.objects)} objects, not closed: {', '.join(open_objects + empty) or 'none'}",
            len(open_objects) + len(empty),
        ),
        counted(
            "copies where they should stand", text + f"; {places} elsewhere, missing or too many", places
        ),
    ]


def master_rows(package: RunPackage, expected: ExpectedRun) -> list[ProofRow]:
    """Each piece is its master, turned and lifted and nothing else; and props come to every tip."""
    far, other = 0.0, []
    for name, points, triangles in expected.pieces:
        entry = package.objects.get(name)
        if entry is None or entry.points.shape != points.shape or (entry.triangles != triangles).any():
            other.append(name)
            continue
        far = max(far, float(np.abs(entry.points - points).max(initial=0.0)))
    said = f"; {', '.join(other)}: another mesh" if other else ""
    lonely, looked, worst = 0, 0, 0.0
    for master, places in expected.tips:
        props = package.objects.get(props_name(master))
        looked += len(places)
        if props is None:
            lonely += len(places)
        elif len(places):
            corners = props.points[props.triangles].astype(np.float64)
            away = nearest(build_tree(corners), np.asarray(places, np.float64)).distance
            lonely += int((away > TIP_MM).sum())
            worst = max(worst, float(away.max()))
    return [
        measured(
            "pieces are their masters",
            f"corners of {many(len(expected.pieces), 'piece')} lie {far:.2g} mm at most from the master's, turned and lifted{said}",
            float("inf") if other else far,
            TURNED_MM,
            "mm",
        ),
        counted(
            "props come to every tip",
            f"{lonely} of {many(looked, 'tip')} without one; the farthest {worst:.2f} mm from the surface of its prop",
            lonely,
        ),
    ]


def _place_faults(package: RunPackage, expected: ExpectedRun) -> int:
    """Build items that no expected copy asks for, and copies that have none."""
    left = list(package.items)
    faults = 0
    for standing in expected.standing:
        for name in (standing.master, props_name(standing.master)):
            if name not in package.objects:
                faults += name == standing.master
                continue
            for number, item in enumerate(left):
                corners = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0], [0.0, 0.0, 10.0]])
                wanted = np.column_stack([Shape.placed(corners[:, :2], standing), corners[:, 2]])
                far = np.abs(item.places(corners) - wanted).max()
                if item.name == name and far <= ROUNDED_MM:
                    del left[number]
                    break
            else:
                faults += 1
    return faults + len(left)


def stl_rows(path: Path | str, package: RunPackage) -> list[ProofRow]:
    """The STL: as many triangles and bodies as the 3MF builds, and in the same places."""
    loose = read_stl(path)
    triangles = sum(len(package.objects[item.name].triangles) for item in package.items)
    bodies = sum(package.objects[item.name].bodies for item in package.items)
    points, rows = weld(loose)
    found = connect(rows, len(points)).bodies
    far, start = 0.0, 0
    for item in package.items if len(loose) == triangles else ():
        entry = package.objects[item.name]
        mine = loose[start : start + len(entry.triangles)].reshape(-1, 3)
        here = item.places(entry.points[entry.triangles].reshape(-1, 3))
        far = max(far, float(np.abs(mine - here).max(initial=0.0)))
        start += len(entry.triangles)
    return [
        counted(
            "triangles of STL and 3MF",
            f"{len(loose):,} in the STL, {triangles:,} as the 3MF builds them",
            abs(len(loose) - triangles),
        ),
        counted(
            "bodies of STL and 3MF",
            f"{found:,} in the STL, {bodies:,} as the 3MF builds them",
            abs(found - bodies),
        ),
        measured(
            "places of STL and 3MF",
            f"corners lie {far:.2g} mm apart at most",
            far if len(loose) == triangles else float("nan"),
            ROUNDED_MM,
            "mm",
        ),
    ]
