"""Rows on the files and on size: the same mesh in both, millimetres, extents, volume, centroid."""

import numpy as np
import numpy.typing as npt

from firstcast.proof.expected import Expected
from firstcast.proof.read import Package
from firstcast.proof.rows import ProofRow, counted, measured, place
from firstcast.proof.surface import measure
from firstcast.vocabulary import Verdict


def package_rows(package: Package, name: str, corners: npt.NDArray[np.float32]) -> list[ProofRow]:
    """The 3MF file: unit, standard, and the very triangles of the STL file."""
    unit = ProofRow(
        "unit of the 3MF",
        f"the 3MF says {package.unit}; STL carries no unit",
        None,
        None,
        "",
        Verdict.SOUND if package.unit == "millimeter" else Verdict.STOP,
    )
    faults = package.warnings + abs(package.build_items - len(package.objects))
    standard = counted(
        "3MF against the standard",
        f"{package.warnings} warnings of a strict reader; {package.build_items} of {len(package.objects)} "
        "objects on the build platform",
        faults,
    )
    chosen = [entry for entry in package.objects if entry[0] == name]
    if len(chosen) != 1:
        text = f"{len(chosen)} objects named {name!r} in the 3MF"
        return [unit, standard, counted("STL and 3MF alike", text, 1)]
    _, points, triangles = chosen[0]
    inside = len(triangles) == 0 or (triangles.min() >= 0 and triangles.max() < len(points))
    other = points[triangles] if inside else np.zeros((0, 3, 3), np.float32)
    differ = different_triangles(corners, other)
    doubled = len(points) - len(np.unique(points.view([("x", "V12")]).ravel())) if len(points) else 0
    text = f"both files carry the same {len(corners):,} triangles, bit for bit"
    if differ or doubled:
        text = f"{differ} triangles differ between STL and 3MF; {doubled} points of the 3MF are doubled"
    return [unit, standard, counted("STL and 3MF alike", text, differ + doubled)]


def different_triangles(first: npt.NDArray[np.float32], second: npt.NDArray[np.float32]) -> int:
    """How many triangles of two sets (m, 3, 3) have no equal in the other; order and first corner are free."""
    if first.shape == second.shape and np.array_equal(first, second):
        return 0
    names, counts = [], []
    for corners in (first, second):
        turned = np.stack([np.roll(corners, -k, axis=1).reshape(-1, 9) + np.float32(0) for k in range(3)])
        least = np.zeros(len(corners), dtype=np.int64)
        for other in (1, 2):
            best = np.take_along_axis(turned, least[None, :, None], axis=0)[0]
            differs = turned[other] != best
            column = differs.argmax(axis=1)
            row = np.arange(len(corners))
            less = differs.any(axis=1) & (turned[other][row, column] < best[row, column])
            least[less] = other
        chosen = np.ascontiguousarray(np.take_along_axis(turned, least[None, :, None], axis=0)[0])
        name, count = np.unique(chosen.view([("row", "V36")]).ravel(), return_counts=True)
        names.append(name)
        counts.append(count)
    tally: dict[bytes, int] = {}
    for sign, name, count in zip((1, -1), names, counts, strict=True):
        for key, number in zip(name, count, strict=True):
            tally[key.tobytes()] = tally.get(key.tobytes(), 0) + sign * int(number)
    missing = sum(number for number in tally.values() if number > 0)
    added = -sum(number for number in tally.values() if number < 0)
    return max(missing, added)


def size_rows(corners: npt.NDArray[np.float64], expected: Expected) -> list[ProofRow]:
    """Extents against the job, volume against the stations' own, area and centroid for the record."""
    rows = []
    extents = corners.max(axis=(0, 1)) - corners.min(axis=(0, 1)) if len(corners) else np.zeros(3)
    limit = 2.0 * expected.crease_limit_mm
    for axis, have, want in zip("xyz", extents, expected.extents_mm, strict=True):
        text = f"{have:.4f} mm along {axis}, {want:.4f} expected ({have - want:+.4f})"
        rows.append(measured(f"extent {axis}", text, abs(have - want), limit, "mm"))
    found = measure(corners)
    if expected.volume_mm3 is None:
        rows.append(measured("volume", f"{found.volume_mm3:.3f} mm³", found.volume_mm3, None, "mm3"))
    else:
        off = abs(found.volume_mm3 - expected.volume_mm3)
        shift = 1e3 * (found.volume_mm3 - expected.volume_mm3) / max(found.area_mm2, 1e-300)
        text = (
            f"{found.volume_mm3:.3f} mm³, {expected.volume_mm3:.3f} expected: the surface lies {shift:+.2f} µm out "
            "on the mean; the limit is the area times the tolerance"
        )
        limit = found.area_mm2 * expected.tolerance_mm
        rows.append(measured("volume", text, off, limit, "mm3", Verdict.WATCH))
    rows.append(measured("area", f"{found.area_mm2:.3f} mm²", found.area_mm2, None, "mm2"))
    where = f"centre of volume at {place(found.centroid_mm)} mm"
    rows.append(ProofRow("centroid", where, None, None, "mm", Verdict.SOUND))
    return rows
