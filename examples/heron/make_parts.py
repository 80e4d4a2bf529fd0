"""Sculpt the hooded heron and write its part meshes.

    python make_parts.py OUT_FOLDER [--fineness 1.0] [--only cloak,hood]

Lengths are in the sculptor's own units (a figure of about 17 units); the ruler stands beside it. The same
call writes the same bytes. Some faults are put in on purpose, as a sculptor's files have them: see FAULTS.
"""

import argparse
import os
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

import arms
import basket
import boat
import body
import cloth
import cowl
import faults
import gear
import lantern
import marsh
from meshfiles import write_mesh
from pose import CHEST, NECK
from surfaces import slab

FAULTS = {
    "belt_rope": "a rope that passes through itself",
    "pole": "triangles between two heights wound the wrong way",
    "head": "a small hole at the nape",
    "hem_veil": "an open sheet without thickness",
    "torso": "a ball left over inside it",
}
RULER_SHARE = 0.5
"""The ruler's height as a share of the whole figure's."""


def recipe(fineness: float) -> dict[str, Callable]:
    """Each part's file name and the call that makes its (points, triangles); the slowest come first."""
    solid = cloth.collider()
    f = 0.71 * fineness
    p = 1.0 / f
    return {
        "hood.ply": lambda: cowl.hood(solid, f),
        "cloak.ply": lambda: cloth.cloak(solid, f),
        "hem_veil.obj": lambda: cloth.hem_veil(solid, f),
        "head.ply": lambda: faults.holed(body.head(0.023 * p), NECK[1] + (0.0, 0.8, 0.0), 0.16 * p),
        "tabard.stl": lambda: cloth.tabard(solid, f),
        "torso.ply": lambda: faults.with_core(body.torso(0.05 * p), CHEST, 0.6),
        "legs.ply": lambda: body.legs(0.026 * p),
        "arm_wing.ply": lambda: arms.arm_wing(0.032 * p),
        "grip_arm.ply": lambda: arms.grip_arm(0.032 * p),
        "grip_hand.ply": lambda: arms.grip_hand(0.019 * p),
        "arm_hand.ply": lambda: arms.arm_hand(0.019 * p),
        "base_marsh.stl": lambda: marsh.base_marsh(0.055 * p),
        "punt_planks.stl": lambda: boat.punt_planks(0.045 * p),
        "breast_plumes.stl": body.plumes,
        "arm_feathers.stl": lambda: arms.flight_feathers(arms.LEFT_ARM, drop=2.6, outward=(0.9, 0.43, 0.0)),
        "pole.stl": lambda: faults.flipped_band(lantern.pole(f), 5.0, 6.2),
        "lantern_frame.stl": lambda: lantern.lantern_frame(f),
        "lantern_cap.stl": lambda: lantern.lantern_cap(f),
        "lantern_ring.obj": lambda: lantern.lantern_ring(f),
        "lantern_candle.ply": lambda: lantern.lantern_candle(0.03 * p),
        "basket.ply": lambda: basket.basket(f),
        "catch.ply": lambda: basket.catch(f),
        "basket_reeds.stl": lambda: basket.basket_reeds(f),
        "belt_rope.ply": lambda: gear.belt_rope(f),
        "rope_coil.ply": lambda: gear.rope_coil(f),
        "strap.stl": lambda: gear.strap(solid, f),
        "pouch.ply": lambda: gear.pouch(0.03 * p),
        "brooch.ply": lambda: gear.brooch(0.018 * p),
        "punt_hull.ply": lambda: boat.punt_hull(f),
        "reeds.stl": lambda: marsh.reeds(f),
    }


def ruler(height: float):
    """A plain graduated block of a given height, standing beside the figure on z = 0."""
    steps = 40
    z = np.linspace(0.0, height, steps * 6 + 1)
    place = np.arange(len(z)) % 6
    notch = np.where((place > 1) & (place < 5) & (np.arange(len(z)) // 6 % 2 == 1), 0.12, 0.0)
    y = np.array([-0.6, 0.6])
    front = np.stack(np.broadcast_arrays(7.8 - notch[:, None], y[None], z[:, None]), -1)
    back = np.stack(np.broadcast_arrays(6.8, y[None], z[:, None]), -1)
    return slab(front, back)


def make_parts(folder: Path, *, fineness: float = 1.0, only: str = "", threads: int | None = None):
    """Write every part into `folder`; a list of (file name, triangles, seconds of processor time)."""
    folder.mkdir(parents=True, exist_ok=True)
    calls = {n: c for n, c in recipe(fineness).items() if not only or any(o in n for o in only.split(","))}
    heights = {}

    def make(name):
        began = time.thread_time()
        points, triangles = calls[name]()
        points = np.asarray(points, np.float32)
        heights[name] = (float(points[:, 2].min()), float(points[:, 2].max()))
        write_mesh(folder / name, points, triangles)
        return name, len(triangles), time.thread_time() - began

    with ThreadPoolExecutor(threads or os.cpu_count()) as pool:
        made = list(pool.map(make, calls))
    if not only:
        total = max(high for _, high in heights.values()) - min(low for low, _ in heights.values())
        block = ruler(RULER_SHARE * total)
        write_mesh(folder / "ruler.stl", np.asarray(block[0], np.float32), block[1])
        made.append(("ruler.stl", len(block[1]), 0.0))
    return made


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fineness", type=float, default=1.0, help="1 gives some 1.9 million triangles")
    parser.add_argument("--only", default="", help="parts of file names, by commas")
    given = parser.parse_args(arguments)
    made = make_parts(given.folder, fineness=given.fineness, only=given.only)
    for name, count, seconds in made:
        print(f"{name:22s} {count:9,d} triangles {seconds:6.2f} s")
    print(f"{len(made)} parts, {sum(count for _, count, _ in made):,d} triangles")


if __name__ == "__main__":
    main()
