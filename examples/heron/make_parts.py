"""Sculpt the hooded heron and write its part meshes: python make_parts.py OUT_FOLDER [--fineness 0.5]"""

import argparse
import os
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import trimesh

sys.path.insert(0, str(Path(__file__).parent))

import arms
import boat
import body
import cloth
import gear


def recipe(fineness):
    """Each part's file name and the call that makes it."""
    solid = cloth.collider()
    f = 0.75 * fineness
    p = 1.0 / f
    return {
        "cloak.ply": lambda: cloth.cloak(solid, f),
        "torso.ply": lambda: body.torso(0.034 * p),
        "hood.ply": lambda: cloth.hood(solid, f),
        "head.ply": lambda: body.head(0.023 * p),
        "arm_wing.ply": lambda: arms.arm_wing(0.032 * p),
        "grip_arm.ply": lambda: arms.grip_arm(0.032 * p),
        "base_marsh.stl": lambda: boat.base_marsh(0.05 * p),
        "punt_planks.stl": lambda: boat.punt_planks(0.04 * p),
        "legs.ply": lambda: body.legs(0.03 * p),
        "hem_veil.obj": lambda: cloth.hem_veil(solid, f),
        "tabard.stl": lambda: cloth.tabard(solid, f),
        "grip_hand.ply": lambda: arms.grip_hand(0.022 * p),
        "arm_hand.ply": lambda: arms.arm_hand(0.022 * p),
        "breast_plumes.stl": body.plumes,
        "arm_feathers.stl": lambda: arms.flight_feathers(arms.LEFT_ARM, np.random.default_rng(88), drop=2.6, outward=np.array([0.75, 0.3, 0])),
        "grip_feathers.stl": lambda: arms.flight_feathers(arms.RIGHT_ARM, np.random.default_rng(89), drop=2.4, outward=np.array([-0.9, -0.1, 0])),
        "pole.stl": lambda: gear.pole(f),
        "lantern_frame.stl": lambda: gear.lantern_frame(f),
        "lantern_cap.stl": lambda: gear.lantern_cap(f),
        "lantern_ring.obj": lambda: gear.lantern_ring(f),
        "lantern_candle.ply": lambda: gear.lantern_candle(0.03 * p),
        "basket.ply": lambda: gear.basket(f),
        "catch.ply": lambda: gear.catch(f),
        "basket_reeds.stl": lambda: gear.basket_reeds(f),
        "belt_rope.ply": lambda: gear.belt_rope(f),
        "strap.stl": lambda: gear.strap(f),
        "pouch.ply": lambda: gear.pouch(0.03 * p),
        "brooch.ply": lambda: gear.brooch(0.025 * p),
        "punt_hull.ply": lambda: boat.punt_hull(f),
        "reeds.stl": lambda: boat.reeds(f),
    }


def main(arguments=None):
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fineness", type=float, default=1.0)
    parser.add_argument("--only", default="")
    given = parser.parse_args(arguments)
    given.folder.mkdir(parents=True, exist_ok=True)
    calls = recipe(given.fineness)
    if given.only:
        calls = {n: c for n, c in calls.items() if any(o in n for o in given.only.split(","))}

    def make(name):
        began = time.thread_time()
        points, triangles = calls[name]()
        trimesh.Trimesh(points.astype(np.float32), triangles, process=False).export(given.folder / name)
        return name, len(triangles), time.thread_time() - began

    total = 0
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        for name, count, took in pool.map(make, calls):
            total += count
            print(f"{name:22s} {count:9,d} {took:6.2f}")
    print(f"{total:,d} triangles")


if __name__ == "__main__":
    main()
