"""The two feathered arms: one grips the pole, one carries the lantern. Hands have three fingers and a thumb."""

import numpy as np
from clay import Clay, frame
from plumage import lay, rows_round
from pose import GRIP_HEIGHT, LANTERN_TOP, LEFT_ARM, RIGHT_ARM, pole_at
from surfaces import blade, joined, unit


def arm_clay(joints):
    """The bare arm from shoulder to wrist."""
    clay = Clay()
    shoulder, elbow, wrist = joints
    clay.limb([shoulder, 0.5 * (shoulder + elbow), elbow], [0.72, 0.66, 0.55], steps=6, blend=0.2)
    clay.limb([elbow, elbow + 0.4 * (wrist - elbow), wrist], [0.56, 0.58, 0.34], steps=8, blend=0.3)
    return clay


def _coverts(clay, joints, rng):
    """Rows of coverts down the upper arm and along the forearm, lying toward the hand."""
    shoulder, elbow, wrist = joints
    lie = unit(wrist - elbow)
    crook = unit(wrist + shoulder - 2.0 * elbow)
    upper_arm = shoulder - elbow

    def out_of_crook(p):
        return (p - elbow) @ crook < 0.2

    def bare_shoulder(p):
        return out_of_crook(p) and (p - elbow) @ upper_arm < 0.62 * upper_arm @ upper_arm

    fore = rows_round(
        clay,
        [wrist + 0.05 * lie, elbow],
        [0.6, 0.75, 0.9],
        rng,
        flow=lambda r, n, t: lie + np.array([0, 0, -0.4]),
        overlap=0.5,
        slim=0.75,
        keep=lambda p: out_of_crook(p) or (p - elbow) @ lie > 1.3,
    )
    upper = rows_round(
        clay,
        [elbow, shoulder + 0.45 * (elbow - shoulder)],
        [0.85, 0.85],
        rng,
        flow=lambda r, n, t: -t,
        slim=0.75,
        keep=bare_shoulder,
    )
    meshes = []
    for bed in (fore, upper):
        meshes += lay(clay, bed, rng, slim=0.75, lift=0.12, point=0.25, barbs=4.0, hollow=0.16)
    return meshes


def flight_feathers(joints, rng, *, drop, outward, begin=0.42):
    """Three tiers of feathers hanging from the forearm between `begin` and the wrist, longest toward the elbow."""
    _, elbow, wrist = joints
    lie = unit(wrist - elbow)
    meshes = []
    for tier, (long, wide, count, lift) in enumerate(
        ((1.0, 0.6, 6, 0.0), (0.66, 0.56, 6, 0.16), (0.4, 0.5, 7, 0.3))
    ):
        for k in range(count):
            share = begin + (1.0 - begin) * (k + 0.3 + 0.35 * (tier % 2)) / count
            root = elbow + share * (wrist - elbow) - np.array([0, 0, 0.2 - 0.5 * lift]) + lift * outward
            length = drop * long * (1.05 - 0.35 * share) * rng.uniform(0.92, 1.08)
            way = np.array([0, 0, -1.0]) - 0.5 * lie * (1.1 - share) + 0.06 * outward + rng.normal(0, 0.03, 3)
            meshes.append(
                blade(
                    root,
                    way,
                    outward,
                    length,
                    wide,
                    thick=0.2,
                    bend=0.25 * rng.uniform(-0.3, 1.0),
                    curl=0.1 * length * rng.uniform(-0.6, 0.4),
                    point=0.25,
                    barbs=3.0,
                )
            )
    return joined(meshes)


def _curled(clay, centre, axis, start, radius, sweep, thick, rise):
    """A finger bent round an axis, beginning at direction `start`, with a claw."""
    rows = frame(axis, start)
    turns = np.linspace(0.0, sweep, 5)
    reach = radius * (1.0 + 0.35 * np.cos(np.pi * np.linspace(0, 1, 5)) ** 2 * np.array([1, 0.3, 0, 0, 0]))
    points = [
        centre + r * (np.cos(a) * rows[0] + np.sin(a) * rows[1]) + rise * a / abs(sweep) * rows[2]
        for a, r in zip(turns, reach, strict=True)
    ]
    clay.limb(points, [thick, thick * 1.02, thick * 0.95, thick * 0.9, thick * 0.8], steps=5, blend=0.06)
    for k in (1, 3):
        clay.ball(points[k], thick * 1.14, blend=0.05)
    end = sweep + np.sign(sweep) * 0.55
    tip = centre + radius * 0.98 * (np.cos(end) * rows[0] + np.sin(end) * rows[1]) + rise * rows[2]
    clay.limb(
        [points[-1], 0.5 * (points[-1] + tip) + 0.03 * unit(points[-1] - centre), tip],
        [thick * 0.72, thick * 0.5, 0.05],
        steps=4,
    )


def _ruff(clay, palm, toward, size, rng):
    """Small feathers over the back of a hand, lying toward the fingers."""
    bed = rows_round(
        clay,
        [palm - 0.8 * toward, palm - 0.25 * toward],
        [1.7 * size, 1.4 * size],
        rng,
        flow=lambda r, n, t: t,
        slim=0.62,
        overlap=0.45,
    )
    return lay(clay, bed, rng, slim=0.62, lift=0.06, point=0.45, hollow=0.16, barbs=0.0, rows=11, columns=7)


def grip_hand(pitch):
    """The hand round the pole."""
    clay = Clay()
    wrist = RIGHT_ARM[2]
    centre = pole_at(GRIP_HEIGHT)
    axis = unit(pole_at(GRIP_HEIGHT + 1) - pole_at(GRIP_HEIGHT - 1))
    inward = unit((wrist + np.array([0.35, 0.3, 0.4])) - centre)
    palm = centre + 0.42 * inward
    clay.limb(
        [wrist + 0.25 * unit(RIGHT_ARM[1] - wrist), wrist, palm - 0.1 * axis], [0.36, 0.33, 0.34], steps=6
    )
    clay.ball(palm, (0.34, 0.42, 0.52), axis=axis, across=inward, blend=0.2)
    ruff = _ruff(clay, palm, unit(palm - wrist), 0.4, np.random.default_rng(77))
    for k, rise in enumerate((0.42, 0.04, -0.36)):
        _curled(
            clay, centre + rise * axis, axis, inward, 0.44, 3.7 - 0.25 * k, 0.19 - 0.012 * k, -0.16 + 0.05 * k
        )
    _curled(clay, centre + 0.5 * axis, axis, inward, 0.45, -2.3, 0.19, 0.12)
    return joined([clay.mesh(pitch), *ruff])


def grip_arm(pitch):
    """The arm that leans on the pole."""
    clay = arm_clay(RIGHT_ARM)
    return joined([clay.mesh(pitch), *_coverts(clay, RIGHT_ARM, np.random.default_rng(6067))])


def arm_wing(pitch):
    """The lantern arm; cut flat at the shoulder, with a peg that enters the torso."""
    clay = arm_clay(LEFT_ARM)
    shoulder, elbow, _ = LEFT_ARM
    coverts = _coverts(clay, LEFT_ARM, np.random.default_rng(3343))
    inward = unit(shoulder - elbow)
    clay.cut(shoulder + 0.1 * inward, inward)
    clay.drum(shoulder + 0.3 * inward, 0.36, 0.3, 0.35, axis=inward, rounding=0.04)
    return joined([clay.mesh(pitch), *coverts])


def arm_hand(pitch):
    """The hand through the lantern's ring."""
    clay = Clay()
    elbow, wrist = LEFT_ARM[1:]
    lie = unit(wrist - elbow)
    bar = np.array([0.9, 0.35, 0.0]) / np.linalg.norm([0.9, 0.35, 0.0])
    centre = LANTERN_TOP + np.array([0, 0, 0.42])
    above = unit(np.array([0, 0.45, 0.9]))
    palm = centre + 0.4 * above
    clay.limb([wrist - 0.25 * lie, wrist, palm], [0.36, 0.32, 0.32], steps=6)
    clay.ball(palm, (0.3, 0.38, 0.46), axis=bar, across=above, blend=0.2)
    ruff = _ruff(clay, palm, unit(palm - wrist), 0.4, np.random.default_rng(78))
    for k, rise in enumerate((0.36, 0.0, -0.36)):
        _curled(clay, centre + rise * bar, bar, above, 0.32, 3.4 - 0.3 * k, 0.18 - 0.01 * k, 0.06 * (k - 1))
    _curled(clay, centre - 0.42 * bar, bar, above, 0.34, -1.9, 0.175, 0.4)
    return joined([clay.mesh(pitch), *ruff])
