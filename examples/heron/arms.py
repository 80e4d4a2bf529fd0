"""The two feathered arms: one grips the pole, one carries the lantern. Hands have three fingers and a thumb."""

import numpy as np
from clay import Clay, frame
from hands import Grip, hand
from plumage import lay, rows_round
from pose import GRIP_HEIGHT, HANDLE_RISE, HANDLE_WAY, LANTERN_TOP, LEFT_ARM, RIGHT_ARM, pole_at
from surfaces import blade, joined, tube, unit


def arm_clay(joints):
    """The bare arm from shoulder to wrist."""
    clay = Clay()
    shoulder, elbow, wrist = joints
    clay.limb([shoulder, 0.5 * (shoulder + elbow), elbow], [0.72, 0.66, 0.55], steps=6, blend=0.2)
    clay.limb([elbow, elbow + 0.4 * (wrist - elbow), wrist], [0.56, 0.5, 0.25], steps=8, blend=0.3)
    return clay


def _coverts(clay, joints, rng):
    """Even rows of coverts down the upper arm and along the forearm, lying toward the hand."""
    shoulder, elbow, wrist = joints
    lie = unit(wrist - elbow)
    crook = unit(wrist + shoulder - 2.0 * elbow)
    upper_arm = shoulder - elbow

    def bare_shoulder(p):
        out = (p - elbow) @ crook < 0.2
        return out and (p - elbow) @ upper_arm < 0.62 * upper_arm @ upper_arm

    even = {"slim": 0.62, "jitter": 0.0, "vary": 0.04}
    fore = rows_round(
        clay,
        [wrist - 0.95 * lie, elbow + 0.1 * lie],
        [0.78, 0.9, 1.0],
        rng,
        flow=lambda r, n, t: lie,
        overlap=0.42,
        keep=lambda p: (p - elbow) @ lie > 0.45 or (p - elbow) @ crook < 0.0,
        **even,
    )
    upper = rows_round(
        clay,
        [elbow + 0.3 * unit(upper_arm), shoulder - 0.45 * upper_arm],
        [1.0, 1.0],
        rng,
        flow=lambda r, n, t: -t,
        overlap=0.42,
        keep=bare_shoulder,
        **even,
    )
    meshes = _cuff(joints)
    for bed in (fore, upper):
        meshes += lay(clay, bed, rng, slim=0.66, lift=0.1, point=0.2, barbs=4.0, hollow=0.1)
    return meshes


def _cuff(joints):
    """A cloth band wrapped thrice about the forearm's end, over the tips of the feathers."""
    _, elbow, wrist = joints
    rows = frame(wrist - elbow)
    turn = np.linspace(0.0, 2.0 * np.pi, 73)[:-1]
    around = np.cos(turn)[:, None] * rows[0] + np.sin(turn)[:, None] * rows[1]
    flat = np.linspace(0.0, 2.0 * np.pi, 16, endpoint=False)
    section = np.stack([0.1 * np.cos(flat), 0.155 * np.sin(flat)], 1)
    meshes = []
    for k, (back, radius) in enumerate(((0.02, 0.3), (0.2, 0.36), (0.38, 0.43))):
        slant = 0.05 * np.sin(turn + 2.1 * k)
        path = wrist + (slant - back)[:, None] * rows[2] + radius * around
        meshes.append(tube(path, 1.0, shape=section, along_hint=around, loop=True))
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


def grip_hand(pitch):
    """The hand round the pole."""
    _, elbow, wrist = RIGHT_ARM
    centre = pole_at(GRIP_HEIGHT)
    axis = unit(pole_at(GRIP_HEIGHT + 1) - pole_at(GRIP_HEIGHT - 1))
    clay = hand(
        elbow,
        wrist,
        Grip(centre, axis, wrist + np.array([0.1, 0.2, 0.0]) - centre),
        turns=np.array([0.45, 1.35, 2.2, 2.95, 3.45, 4.0]),
        radii=np.array([0.54, 0.46, 0.38, 0.34, 0.42, 0.3]),
        spacing=0.32,
        thumb_turns=np.array([-0.85, -1.8, -2.75, -3.2, -3.7]),
        thumb_radii=np.array([0.48, 0.4, 0.34, 0.4, 0.3]),
        thumb_rise=0.3,
        thick=0.135,
        lean=-0.14,
    )
    return clay.mesh(pitch)


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
    """The hand under whose fingers the lantern's handle hangs."""
    _, elbow, wrist = LEFT_ARM
    clay = hand(
        elbow,
        wrist,
        Grip(LANTERN_TOP + np.array([0, 0, HANDLE_RISE]), HANDLE_WAY, np.array([0.0, 0.62, 0.78])),
        turns=np.array([0.35, 1.35, 2.5, 3.45, 4.0, 4.6]),
        radii=np.array([0.38, 0.42, 0.32, 0.19, 0.27, 0.2]),
        spacing=0.31,
        thumb_turns=np.array([-0.9, -1.9, -2.6, -3.2]),
        thumb_radii=np.array([0.32, 0.24, 0.32, 0.24]),
        thumb_rise=-0.5,
        thick=0.13,
    )
    return clay.mesh(pitch)
