"""Fuse beside manifold3d's batch union: time, processor time and peak memory, each case in a process of its own.

The figure is 10 overlapping ellipsoids with relief, 50 mm tall; `triangles` is what its parts hold together.
"surface" is the union's mesh alone, "field" the near field with true distances in a band of three pitches, "contour" the
mesh drawn from that field; all from a warm cache of machine code. manifold3d's time includes making its solids.

    python benchmarks/fuse.py [--small]
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np

SEED = 70123
ELLIPSOIDS = (
    ((0, 0, 16), (5, 4, 8)), ((0, 0, 27), (3, 3, 3.6)), ((0, 0, 6), (2.2, 2.2, 6)), ((5, 0, 18), (1.6, 1.6, 6)),
    ((-5, 0, 18), (1.6, 1.6, 6)), ((0, 2.5, 24), (3.4, 2, 5)), ((2, 0, 3), (1.8, 2.6, 3)),
    ((-2, 0, 3), (1.8, 2.6, 3)), ((6, -1, 12), (0.5, 0.5, 10)), ((0, 0, 1), (7, 7, 1)),
)  # fmt: skip
CASES = (
    [("manifold3d", count, 0.0) for count in (300_000, 1_000_000, 3_000_000)]
    + [("surface", count, 0.03) for count in (300_000, 1_000_000, 3_000_000, 10_000_000)]
    + [("field", count, 0.03) for count in (300_000, 1_000_000, 3_000_000, 10_000_000)]
    + [("field", 3_000_000, pitch) for pitch in (0.1, 0.05, 0.022)]
)
SMALL_CASES = [("surface", 100_000, 0.1), ("field", 100_000, 0.1), ("manifold3d", 100_000, 0.0)]


def lattice_ball(rings: int):
    """A ball of 2 · rings · (2 · rings - 2) triangles, as points and triangles."""
    around = 2 * rings
    tilt, turn = np.linspace(0, np.pi, rings + 1)[1:-1], np.arange(around) * 2 * np.pi / around
    ring = np.stack(
        [
            np.outer(np.sin(tilt), np.cos(turn)),
            np.outer(np.sin(tilt), np.sin(turn)),
            np.outer(np.cos(tilt), np.ones(around)),
        ],
        axis=-1,
    ).reshape(-1, 3)
    points = np.concatenate([[[0, 0, 1.0]], ring, [[0, 0, -1.0]]])
    k = np.arange(around)
    after = (k + 1) % around
    row = 1 + np.arange(rings - 2)[:, None] * around
    a, b = row + k, row + after
    last = len(points) - 1
    below = last - around
    triangles = np.concatenate(
        [
            np.stack([0 * k, 1 + k, 1 + after], -1),
            np.stack([a, a + around, b + around], -1).reshape(-1, 3),
            np.stack([a, b + around, b], -1).reshape(-1, 3),
            np.stack([0 * k + last, below + after, below + k], -1),
        ]
    )
    return points, triangles.astype(np.int32)


def figure(count: int) -> list[tuple[np.ndarray, np.ndarray]]:
    """Ten overlapping shells of about `count` triangles together."""
    rng = np.random.default_rng(SEED)
    points, triangles = lattice_ball(max(4, round((count / len(ELLIPSOIDS) / 4) ** 0.5)))
    parts = []
    for centre, size in ELLIPSOIDS:
        height = np.zeros(len(points))
        for octave in range(5):
            wave = rng.normal(size=3) * 2.0 ** (octave + 2)
            height += np.sin(points @ wave + rng.uniform(0, 2 * np.pi)) * 0.03 / 2**octave
        parts.append((points * (1 + height[:, None]) * np.array(size) + np.array(centre), triangles))
    return parts


def _shells(parts):
    from firstcast.fields.union import Shells

    first = np.cumsum([0, *(len(points) for points, _ in parts)])
    return Shells(
        np.concatenate([points for points, _ in parts]),
        np.concatenate(
            [triangles + np.int32(base) for (_, triangles), base in zip(parts, first, strict=False)]
        ),
        np.concatenate([np.full(len(triangles), n, np.uint16) for n, (_, triangles) in enumerate(parts)]),
    )


def _ours(what: str, parts, pitch: float) -> dict:
    from firstcast.fields.build import build_near
    from firstcast.fields.contour import contour, contour_union
    from firstcast.fields.creases import with_creases
    from firstcast.fields.union import estimate_bytes, lattice_around, occupy, read_columns

    def surface(shells, pitch):
        lattice = lattice_around(shells.points, pitch, pitch)
        columns = read_columns(shells, lattice)
        occupancy = occupy(columns, lattice, pitch)
        return with_creases(*contour_union(occupancy, columns, shells.part), occupancy, columns, shells)

    shells = _shells(parts)
    warm = _shells(figure(2000))
    contour(build_near(warm, 0.5))
    before = _rss()
    start, used = time.perf_counter(), time.process_time()
    if what == "surface":
        found = surface(shells, pitch)
        row = {"surface s": _seconds(start)}
    else:
        field = build_near(shells, pitch)
        row = {"field s": _seconds(start), "bricks": len(field.pool)}
        again = time.perf_counter()
        found = contour(field)
        row["contour s"] = _seconds(again)
    row["processor s"] = round(time.process_time() - used, 2)
    lattice = lattice_around(shells.points, pitch, pitch if what == "surface" else 3 * pitch)
    estimated = estimate_bytes(shells, lattice, 0.0 if what == "surface" else 3 * pitch)
    row |= {"estimate GB": round(estimated / 1e9, 2), "parts in memory GB": round(before, 2)}
    return row | {"gives triangles": len(found.triangles)}


def _manifold(parts) -> dict:
    import manifold3d

    start, used = time.perf_counter(), time.process_time()
    solids = [
        manifold3d.Manifold(manifold3d.Mesh(points.astype(np.float32), triangles.astype(np.uint32)))
        for points, triangles in parts
    ]
    assert all(solid.status() == manifold3d.Error.NoError for solid in solids)
    united = manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
    count = united.num_tri()
    row = {"surface s": _seconds(start), "processor s": round(time.process_time() - used, 2)}
    return row | {"gives triangles": count}


def _seconds(start: float) -> float:
    return round(time.perf_counter() - start, 2)


def _rss() -> float:
    scale = 1e9 if sys.platform == "darwin" else 1e6
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / scale


def case(what: str, count: int, pitch: float) -> dict:
    """One case in this process."""
    parts = figure(count)
    total = sum(len(triangles) for _, triangles in parts)
    row = {"what": what, "triangles": total, "pitch mm": pitch or ""}
    row |= _manifold(parts) if what == "manifold3d" else _ours(what, parts, pitch)
    return row | {"peak GB": round(_rss(), 2)}


def rows(small: bool = False) -> list[dict]:
    """All cases, each in a fresh process."""
    found = []
    for what, count, pitch in SMALL_CASES if small else CASES:
        command = [sys.executable, str(Path(__file__)), "--case", what, str(count), str(pitch)]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        found.append(json.loads(done.stdout.strip().splitlines()[-1]))
    return found


if __name__ == "__main__":
    parser = argparse.ArgumentParser()
    parser.add_argument("--case", nargs=3)
    parser.add_argument("--small", action="store_true")
    options = parser.parse_args()
    if options.case:
        what, count, pitch = options.case
        print(json.dumps(case(what, int(count), float(pitch))))
    else:
        from run_all import table

        print(table(rows(options.small)))
