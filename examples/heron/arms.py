"""The two feathered arms: one grips the pole, one carries the lantern. Hands have three fingers and a thumb."""

import numpy as np
from clay import Clay, frame
from plumage import rows_round
from pose import LANTERN_TOP, LEFT_ARM, RIGHT_ARM, pole_at
from surfaces import blade, joined, unit


def arm_clay(joints):
    """The bare arm from shoulder to wrist."""
    clay = Clay()
    shoulder, elbow, wrist = joints
    clay.limb([shoulder, 0.5 * (shoulder + elbow), elbow], [0.72, 0.66, 0.55], steps=6, blend=0.2)
    clay.limb([elbow, elbow + 0.4 * (wrist - elbow), wrist], [0.56, 0.58, 0.34], steps=8, blend=0.3)
    return clay


def _arm(joints, rng, pitch):
    clay = arm_clay(joints)
    shoulder, elbow, wrist = joints
    lie = unit(wrist - elbow)
    rows_round(clay, [wrist + 0.05 * lie, elbow], [0.38, 0.5, 0.62], rng, flow=lambda r, n, t: -t * 0.0 + lie + (0, 0, -0.35),
               lift=0.11, point=0.35, overlap=0.45)
    rows_round(clay, [elbow, shoulder], [0.62, 0.62], rng, flow=lambda r, n, t: -t, lift=0.11, point=0.35)
    return clay.mesh(pitch)


def flight_feathers(joints, rng, *, drop, outward):
    """Three tiers of feathers hanging from the forearm, the longest nearest the elbow."""
    _, elbow, wrist = joints
    lie = unit(wrist - elbow)
    meshes = []
    for tier, (long, wide, count, lift) in enumerate(((1.0, 0.62, 8, 0.0), (0.62, 0.52, 8, 0.12), (0.36, 0.42, 9, 0.22))):
        for k in range(count):
            share = (k + 0.35 + 0.3 * (tier % 2)) / count
            root = elbow + share * (wrist - elbow) - np.array([0, 0, 0.22 - 0.5 * lift]) + lift * outward
            length = drop * long * (1.0 - 0.55 * share) * rng.uniform(0.92, 1.08)
            way = np.array([0, 0, -1.0]) - 0.55 * lie * (1.0 - 0.9 * share) + 0.10 * outward + rng.normal(0, 0.03, 3)
            meshes.append(blade(root, way, outward, length, wide, thick=0.2, bend=0.25 * rng.uniform(-0.2, 1.0),
                                curl=0.18 * length * rng.uniform(-0.6, 0.4), point=0.25))
    return joined(meshes)


def _curled(clay, centre, axis, start, radius, sweep, thick, rise):
    """A finger bent round an axis, beginning at direction `start`, with a claw."""
    rows = frame(axis, start)
    turns = np.linspace(0.0, sweep, 5)
    reach = radius * (1.0 + 0.35 * np.cos(np.pi * np.linspace(0, 1, 5)) ** 2 * np.array([1, 0.3, 0, 0, 0]))
    points = [centre + r * (np.cos(a) * rows[0] + np.sin(a) * rows[1]) + rise * a / abs(sweep) * rows[2] for a, r in zip(turns, reach, strict=True)]
    clay.limb(points, [thick, thick * 1.02, thick * 0.95, thick * 0.9, thick * 0.8], steps=5, blend=0.06)
    for k in (1, 3):
        clay.ball(points[k], thick * 1.14, blend=0.05)
    end = sweep + np.sign(sweep) * 0.55
    tip = centre + radius * 0.98 * (np.cos(end) * rows[0] + np.sin(end) * rows[1]) + rise * rows[2]
    clay.limb([points[-1], 0.5 * (points[-1] + tip) + 0.03 * unit(points[-1] - centre), tip], [thick * 0.72, thick * 0.5, 0.05], steps=4)


def grip_hand(pitch):
    """The hand round the pole."""
    clay = Clay()
    wrist = RIGHT_ARM[2]
    centre = pole_at(10.75)
    axis = unit(pole_at(11.5) - pole_at(10.0))
    inward = unit(wrist + (0.35, 0.3, 0.4) - centre)
    palm = centre + 0.42 * inward
    clay.limb([wrist + 0.25 * unit(RIGHT_ARM[1] - wrist), wrist, palm - 0.1 * axis], [0.36, 0.33, 0.34], steps=6)
    clay.ball(palm, (0.34, 0.42, 0.52), axis=axis, across=inward, blend=0.2)
    for k, rise in enumerate((0.42, 0.1, -0.22)):
        _curled(clay, centre + rise * axis, axis, inward, 0.42, 3.9 - 0.2 * k, 0.165 - 0.008 * k, -0.08)
    _curled(clay, centre + 0.3 * axis, axis, inward, 0.43, -2.6, 0.17, 0.3)
    clay.grain(3, 0.03, (1, 1, 0.16), axis=inward)
    return clay.mesh(pitch)


def grip_arm(pitch):
    """The arm that leans on the pole."""
    return _arm(RIGHT_ARM, np.random.default_rng(6067), pitch)


def arm_wing(pitch):
    """The lantern arm; cut flat at the shoulder, with a peg that enters the torso."""
    clay = arm_clay(LEFT_ARM)
    shoulder, elbow, wrist = LEFT_ARM
    rng = np.random.default_rng(3343)
    lie = unit(wrist - elbow)
    rows_round(clay, [wrist + 0.05 * lie, elbow], [0.38, 0.5, 0.62], rng, flow=lambda r, n, t: lie + (0, 0, -0.35), lift=0.11, point=0.35, overlap=0.45)
    rows_round(clay, [elbow, shoulder], [0.62, 0.62], rng, flow=lambda r, n, t: -t, lift=0.11, point=0.35)
    inward = unit(shoulder - elbow)
    clay.cut(shoulder + 0.1 * inward, inward)
    clay.drum(shoulder + 0.3 * inward, 0.36, 0.3, 0.35, axis=inward, rounding=0.04)
    return clay.mesh(pitch)


def arm_hand(pitch):
    """The hand through the lantern's ring."""
    clay = Clay()
    elbow, wrist = LEFT_ARM[1:]
    lie = unit(wrist - elbow)
    bar = np.array([0.9, 0.35, 0.0]) / np.linalg.norm([0.9, 0.35, 0.0])
    centre = LANTERN_TOP + (0, 0, 0.42)
    above = unit(np.array([0, 0.45, 0.9]))
    palm = centre + 0.4 * above
    clay.limb([wrist - 0.25 * lie, wrist, palm], [0.36, 0.32, 0.32], steps=6)
    clay.ball(palm, (0.3, 0.38, 0.46), axis=bar, across=above, blend=0.2)
    for k, rise in enumerate((0.32, 0.02, -0.28)):
        _curled(clay, centre + rise * bar, bar, above, 0.3, 3.3 - 0.25 * k, 0.155 - 0.008 * k, 0.0)
    _curled(clay, centre - 0.4 * bar, bar, above, 0.32, -1.9, 0.16, 0.35)
    return clay.mesh(pitch)
