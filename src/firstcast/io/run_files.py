"""A run as meshes for other programs: one STL with all that stands on the platform, one 3MF with each master once.

References
----------
3MF Core Specification 1.4.0: 4.1 (mesh), 3.4.3 (item and its transform). 3MF Slice Extension 1.0.2: 2 (slice stacks),
3 (slices and polygons).
"""

import zipfile
from collections.abc import Iterator, Mapping
from typing import BinaryIO
from xml.sax.saxutils import quoteattr

import numpy as np

from firstcast import __version__
from firstcast.errors import InputError
from firstcast.fields.coverage import Layers
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.solids import raw_manifold
from firstcast.io import threemf_text
from firstcast.io.threemf_text import CORE_NAMESPACE, OWN_NAMESPACE
from firstcast.io.write import STL_RECORD, FilePath, unit_normals, write_whole
from firstcast.printing.propped import Propped
from firstcast.printing.run import Placement, Run

SLICE_NAMESPACE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"


def props_name(master: str) -> str:
    """Name of the object in the 3MF that holds a master's props."""
    return f"{master} props"


def write_run_stl(path: FilePath, run: Run, masters: Mapping[str, Propped]) -> None:
    """All pieces and props of a run as they stand on the platform, as one binary STL.

    Coordinates are rounded to float32 after they are placed: by 8e-6 mm at most within 256 mm. Piece and props stay
    shells of their own, which overlap at tips.

    Raises
    ------
    InputError
        The run names a master that isn't there, or is empty.
    FileError
        The file can't be written.
    """
    meshes = _meshes(run, masters, str(path))
    count = sum(len(mesh.triangles) for placement in run.placements for mesh in meshes[placement.master])
    title = f"firstcast {__version__}, millimetres"

    def fill(stream: BinaryIO) -> None:
        stream.write(title.encode("ascii", "replace").ljust(80, b" ") + np.uint32(count).tobytes())
        for placement in run.placements:
            for mesh in meshes[placement.master]:
                points = _placed(mesh, placement)
                records = np.zeros(len(mesh.triangles), STL_RECORD)
                records["corners"] = points[mesh.triangles]
                records["normal"] = unit_normals(records["corners"])
                stream.write(records.data)

    write_whole(path, fill)


def write_run_3mf(
    path: FilePath,
    run: Run,
    masters: Mapping[str, Propped],
    metadata: Mapping[str, str] | None = None,
    *,
    slices: Layers | None = None,
) -> None:
    """A run as one 3MF package: per master an object of the piece and one of its props, placed by build items.

    Coordinates are rounded to float32: by 4e-6 mm at most within 128 mm of a master's middle.

    Parameters
    ----------
    metadata : mapping of str to str, optional
        As for `firstcast.io.write.write_3mf`.
    slices : Layers, optional
        Add the outlines of these layers (slice extension), each taken at the layer's middle. The meshes stay.

    Raises
    ------
    InputError
        The run names a master that isn't there, or points that float32 can't hold.
    FileError
        The file can't be written.
    """
    meshes = _meshes(run, masters, str(path))
    notes = {"Application": f"firstcast {__version__}", "Title": run.name, **(metadata or {})}

    def fill(stream: BinaryIO) -> None:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as package:
            threemf_text.put(package, "[Content_Types].xml", [threemf_text.CONTENT_TYPES])
            threemf_text.put(package, "_rels/.rels", [threemf_text.RELATIONSHIPS])
            threemf_text.put(package, threemf_text.MODEL_PATH, _model(run, meshes, notes, slices))

    write_whole(path, fill)


def _meshes(run: Run, masters: Mapping[str, Propped], where: str) -> dict[str, tuple[Mesh, ...]]:
    """Piece and props (where there are any) of each master that the run names, in its order."""
    if not run.placements:
        raise InputError("nothing stands on the platform", where=where, mend="Place at least one master.")
    found: dict[str, tuple[Mesh, ...]] = {}
    for placement in run.placements:
        name = placement.master
        if name not in masters:
            raise InputError(
                f"there is no master {name!r}", where=where, mend=f"Give one of {sorted(masters)}."
            )
        both = (masters[name].piece, masters[name].props)
        found[name] = tuple(mesh for mesh in both if len(mesh.triangles))
        if not all(np.isfinite(np.asarray(mesh.points, np.float32)).all() for mesh in found[name]):
            raise InputError(
                "places that float32 can't hold", where=f"{where}, {name!r}", mend="Make it again."
            )
    return found


def _placed(mesh: Mesh, placement: Placement) -> np.ndarray:
    """(n, 3) float32 points where a copy stands."""
    cosine, sine = placement.cosine_sine
    x, y, z = np.asarray(mesh.points, dtype=np.float64).T
    at_x, at_y = cosine * x - sine * y + placement.x_mm, sine * x + cosine * y + placement.y_mm
    return np.column_stack([at_x, at_y, z]).astype(np.float32)


def _transform(placement: Placement) -> str:
    """The item's matrix: rows of it multiply row vectors from the right, the last one is the move."""
    cosine, sine = placement.cosine_sine
    row = f"{cosine:.9g} {sine:.9g} 0 {0.0 - sine:.9g} {cosine:.9g} 0 0 0 1"
    return f"{row} {placement.x_mm:.9g} {placement.y_mm:.9g} 0"


def _model(
    run: Run, meshes: dict[str, tuple[Mesh, ...]], notes: Mapping[str, str], slices: Layers | None
) -> Iterator[str]:
    """The model part of the package, in pieces of text."""
    own = f' xmlns:s="{SLICE_NAMESPACE}"' if slices else ""
    yield (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<model unit="millimeter" xml:lang="en" xmlns="{CORE_NAMESPACE}" xmlns:firstcast="{OWN_NAMESPACE}"{own}>\n'
    )
    yield from threemf_text.metadata(notes)
    yield "<resources>\n"
    ids: dict[str, list[int]] = {}
    number = 0
    for master, both in meshes.items():
        for mesh, name in zip(both, (master, props_name(master)), strict=False):
            # it was turned and lifted since it was made exact: what is written is the nearest float32
            points = np.ascontiguousarray(mesh.points, np.float32) + np.float32(0.0)
            stack = ""
            if slices:
                number += 1
                stack = f' s:slicestackid="{number}" s:meshresolution="fullres"'
                yield from _stack(number, Mesh(points, mesh.triangles), slices)
            number += 1
            ids.setdefault(master, []).append(number)
            yield from _object(number, name, points, mesh.triangles, stack)
    yield "</resources>\n<build>\n"
    for placement in run.placements:
        for part in ids[placement.master]:
            yield f'<item objectid="{part}" transform="{_transform(placement)}"/>\n'
    yield "</build>\n</model>\n"


def _object(number: int, name: str, points: np.ndarray, triangles: np.ndarray, stack: str) -> Iterator[str]:
    label = quoteattr(name.translate(threemf_text.XML_FORBIDDEN))
    yield f'<object id="{number}" type="model" name={label}{stack}>\n<mesh>\n<vertices>\n'
    yield from threemf_text.rows('<vertex x="%.9g" y="%.9g" z="%.9g"/>\n', points)
    yield "</vertices>\n<triangles>\n"
    yield from threemf_text.rows('<triangle v1="%d" v2="%d" v3="%d"/>\n', triangles)
    yield "</triangles>\n</mesh>\n</object>\n"


def _stack(number: int, mesh: Mesh, layers: Layers) -> Iterator[str]:
    """The outlines of a mesh, counter-clockwise around what is filled; layers above it are left out."""
    body = raw_manifold(mesh, where="slices")
    yield f'<s:slicestack id="{number}" zbottom="{layers.bottom_mm:.9g}">\n'
    count = min(layers.count, int(np.ceil((mesh.bounds[1, 2] - layers.bottom_mm) / layers.layer_mm)))
    for layer in range(count):
        top = layers.bottom_mm + (layer + 1) * layers.layer_mm
        loops = body.slice(layers.middle_mm(layer)).to_polygons()
        if not loops:
            yield f'<s:slice ztop="{top:.9g}"/>\n'
            continue
        yield f'<s:slice ztop="{top:.9g}">\n<s:vertices>\n'
        yield from threemf_text.rows('<s:vertex x="%.9g" y="%.9g"/>\n', np.concatenate(loops))
        yield "</s:vertices>\n"
        first = 0
        for loop in loops:
            order = np.append(np.arange(first + 1, first + len(loop)), first)
            yield f'<s:polygon startv="{first}">\n'
            yield from threemf_text.rows('<s:segment v2="%d"/>\n', order[:, None])
            yield "</s:polygon>\n"
            first += len(loop)
        yield "</s:slice>\n"
    yield "</s:slicestack>\n"
