"""The bird itself: legs, feathered torso, neck with the head and bill, breast plumes."""

import numpy as np
from clay import CARVE, Clay
from plumage import lay, rows_round
from pose import (
    BELLY,
    CHEST,
    GAZE,
    HUMP,
    LEFT_ARM,
    LEFT_LEG,
    LEFT_SEAT,
    LEFT_SEAT_WAY,
    NECK,
    PELVIS,
    RIGHT_ARM,
    RIGHT_LEG,
    SKULL,
)
from surfaces import joined, leaf, spline, unit

STUMP = 0.74
"""Radius of the left shoulder's stump: just within the arm's."""


def torso_clay():
    """The bare torso: breast bone forward, back humped, hips swung over the standing leg."""
    clay = Clay()
    clay.ball(CHEST, (1.42, 1.25, 1.65), axis=(-0.12, 0.12, 1))
    clay.ball(BELLY, (1.12, 1.05, 1.3), blend=0.8)
    clay.ball((CHEST + np.array([0.02, -0.7, -0.45])), (0.8, 0.75, 1.35), axis=(-0.1, -0.25, 1), blend=0.6)
    clay.ball(PELVIS, (1.1, 1.05, 0.9), axis=(0.15, 0, 1), blend=0.6)
    clay.ball(HUMP, (1.2, 0.9, 1.1), blend=0.9)
    clay.ball(RIGHT_ARM[0] + (0.15, 0.1, -0.1), (0.75, 0.7, 0.7), blend=0.6)
    clay.ball(LEFT_ARM[0] + (-0.15, 0.1, -0.05), (0.75, 0.7, 0.7), blend=0.6)
    clay.cone(
        RIGHT_LEG[2] + (0.1, 0.25, 0.75), RIGHT_LEG[1] * 0.4 + RIGHT_LEG[2] * 0.6, 0.85, 0.36, blend=0.4
    )
    clay.cone(LEFT_LEG[2] + (-0.05, 0.2, 0.6), LEFT_LEG[1] * 0.4 + LEFT_LEG[2] * 0.6, 0.85, 0.36, blend=0.4)
    return clay


def _down(root, normal, tangent):
    return np.array([0.22 * np.sign(root[0]) * min(abs(root[0]), 1.0), 0.0, -1.0])


def stump_clay():
    """The left shoulder up to its seat, as thick as the arm that is glued on: the torso alone is too slim for a socket."""
    clay = Clay()
    clay.cone(LEFT_SEAT - LEFT_SEAT_WAY, LEFT_SEAT + 1.2 * LEFT_SEAT_WAY, STUMP, STUMP)
    clay.cut(LEFT_SEAT, -LEFT_SEAT_WAY)
    return clay


def torso(pitch):
    """Torso with rows of feathers, larger toward the belly, and shaggy thighs."""
    clay = torso_clay()
    rng = np.random.default_rng(7301)
    axis = [(-0.3, 0.1, 11.9), CHEST, BELLY, PELVIS - (0, 0, 0.5)]
    meshes = [clay.mesh(pitch), stump_clay().mesh(pitch)]
    bed = rows_round(clay, axis, [0.62, 0.8, 1.0, 1.05], rng, flow=_down, slim=0.72)
    meshes += lay(clay, bed, rng, slim=0.72, point=0.3, barbs=5.0, hollow=0.16)
    for leg in (RIGHT_LEG, LEFT_LEG):
        low = leg[1] * 0.36 + leg[2] * 0.64
        bed = rows_round(
            clay, [leg[2] + (0, 0.1, 0.2), low], [0.9, 0.7], rng, flow=lambda r, n, t: t, slim=0.6
        )
        meshes += lay(clay, bed, rng, slim=0.6, lift=0.22, point=0.6, barbs=4.0)
    return joined(meshes)


BILL = 3.9
"""How far the bill's tip lies before the skull's middle."""


def head_clay():
    """Neck, skull, brow and bill, without feathers."""
    clay = Clay()
    clay.limb(NECK, [0.95, 0.72, 0.62, 0.58, 0.52], steps=8)
    side = unit(np.cross(GAZE, (0, 0, 1)))
    up = np.cross(side, GAZE)

    def at(along, across=0.0, rise=0.0):
        return SKULL + along * GAZE + across * side + rise * up

    clay.ball(at(-0.05), (0.56, 0.52, 0.92), axis=GAZE, across=side, blend=0.35)
    clay.limb([at(0.2, 0, 0.14), at(1.2, 0, 0.12)], [0.45, 0.34], blend=0.3, flat=0.9, across=side)
    along = {"steps": 8, "flat": 0.76, "across": side}
    upper = [at(0.7, 0, 0.1), at(1.7, 0, 0.09), at(2.8, 0, 0.03), at(BILL, 0, -0.09)]
    clay.limb(upper, [0.4, 0.31, 0.205, 0.085], blend=0.1, **along)
    lower = [at(0.4, 0, -0.3), at(1.6, 0, -0.25), at(2.7, 0, -0.2), at(BILL - 0.22, 0, -0.17)]
    clay.limb(lower, [0.33, 0.24, 0.15, 0.075], **along)
    clay.limb([at(0.7, 0, 0.47), at(1.7, 0, 0.36), at(3.1, 0, 0.16)], [0.1, 0.085, 0.06], steps=6, blend=0.1)
    for s in (-1.0, 1.0):
        gape = [
            at(0.1, 0.56 * s, -0.26),
            at(0.75, 0.42 * s, -0.16),
            at(1.6, 0.26 * s, -0.13),
            at(3.0, 0.15 * s, -0.13),
        ]
        clay.limb(gape, [0.05, 0.075, 0.06, 0.04], steps=8, op=CARVE, blend=0.02)
        clay.limb(
            [at(1.4, 0.3 * s, 0.16), at(1.75, 0.26 * s, 0.14)], [0.05, 0.035], steps=3, op=CARVE, blend=0.03
        )
        clay.ball(at(0.5, 0.66 * s, 0.08), (0.3, 0.27, 0.42), axis=GAZE, across=side, op=CARVE, blend=0.12)
        brow = [
            at(1.5, 0.14 * s, 0.28),
            at(0.85, 0.4 * s, 0.34),
            at(0.25, 0.56 * s, 0.42),
            at(-0.5, 0.46 * s, 0.42),
        ]
        clay.limb(brow, [0.03, 0.11, 0.12, 0.04], steps=8, blend=0.18)
        clay.limb(
            [at(-0.1, 0.56 * s, -0.06), at(0.4, 0.6 * s, -0.22), at(0.9, 0.42 * s, -0.06)],
            [0.08, 0.1, 0.05],
            steps=6,
            blend=0.06,
        )
        look = unit(s * side + 0.45 * GAZE)
        eye = at(0.48, 0.4 * s, 0.1)
        clay.ball(eye, 0.27)
        clay.ball(eye + 0.325 * look, 0.13, op=CARVE)
    return clay


def head(pitch):
    """The head and neck, feathered down to the breast."""
    clay = head_clay()
    rng = np.random.default_rng(5119)
    bed = rows_round(
        clay,
        NECK[::-1],
        [0.45, 0.55, 0.75, 0.95],
        rng,
        flow=lambda r, n, t: t + np.array([0, 0, -0.3]),
        slim=0.65,
        keep=lambda p: (p - SKULL) @ GAZE < -0.1 and p[1] < 0.2 and p[2] < 13.4,
    )
    return joined([clay.mesh(pitch), *lay(clay, bed, rng, slim=0.65, point=0.5, barbs=5.0, hollow=0.16)])


def plumes():
    """Three rows of broad lance feathers that fall from the foot of the neck over the breast, each row over the last."""
    clay = torso_clay()
    meshes = []
    for row, (rise, count, gap, long) in enumerate(
        ((0.6, 4, 0.56, 2.2), (1.2, 3, 0.56, 2.3), (1.8, 2, 0.5, 2.1))
    ):
        for k in range(count):
            s = k - 0.5 * (count - 1)
            place = CHEST + np.array([0.12 + gap * s, -1.5, rise - 0.12 * s * s])
            lie = unit(np.array([0.05 * s + 0.1, -0.15, -1.0]))
            own = long * (1.0 - 0.06 * abs(s))
            steps = 14
            spine, normals = [], []
            for step in range(steps):
                skin, normal = clay.settle([place], 10)
                spine.append(
                    skin[0] + normal[0] * (0.16 + 0.14 * row + 0.12 * (k % 2) + 0.14 * (step / steps) ** 2)
                )
                normals.append(normal[0])
                lie = unit(lie - normal[0] * (lie @ normal[0]) + (0, 0, -0.06))
                place = skin[0] + lie * own / steps
            # a feather is stiffer than the skin that it lies on
            fine = spline(np.array(spine)[[0, 4, 8, 13]], 60), unit(spline(np.array(normals)[[0, 6, 13]], 60))
            meshes.append(
                leaf(*fine, 0.9, thick=0.3, point=0.45, barbs=0.0, hollow=0.1, quill=0.5, columns=21)
            )
    return joined(meshes)


def _foot(clay, ankle, heading):
    heading = np.append(unit(heading), 0.0)
    root = np.array([ankle[0], ankle[1], ankle[2] - 0.02])
    clay.ball(np.add(root, (0, 0, 0.12)), (0.22, 0.22, 0.19), blend=0.08)
    for turn, long in ((-0.5, 1.1), (0.0, 1.35), (0.5, 1.1), (3.0, 0.7)):
        c, s = np.cos(turn), np.sin(turn)
        toe = np.array([c * heading[0] - s * heading[1], s * heading[0] + c * heading[1], 0.0])
        places = root + np.outer([0.0, 0.35 * long, 0.7 * long, long], toe)
        places[:, 2] += (0.12, 0.1, 0.03, 0.0)
        clay.limb(places, [0.17, 0.145, 0.13, 0.115], steps=6, blend=0.04)
        for place, thick in zip(places[1:], (0.175, 0.16, 0.135), strict=True):
            clay.ball(place, thick, blend=0.05)
        claw = [places[-1], places[-1] + 0.2 * toe + (0, 0, 0.02), places[-1] + 0.36 * toe - (0, 0, 0.08)]
        clay.limb(claw, [0.11, 0.09, 0.07], steps=4)


def _scutes(clay, low, high, front, count=10):
    """Flat plates up the front of a shank, each a step before the next."""
    along = unit(high - low)
    front = unit(front - along * (front @ along))
    half = 0.5 * np.linalg.norm(high - low) / count
    for k in range(count):
        place = low + (k + 0.5) / count * (high - low)
        lean = along - 0.22 * front
        clay.box(
            place + 0.155 * front,
            (0.05, 0.135, 1.02 * half),
            rounding=0.035,
            axis=lean,
            across=front,
        )


def legs(pitch):
    """Two wading legs: thin shanks with plates in front, knobbed ankles that bend back, long toes with claws."""
    clay = Clay()
    for leg, heading in ((RIGHT_LEG, (0.52, -1.0)), (LEFT_LEG, (0.45, -1.0))):
        foot, ankle, knee = leg[0], leg[1] + (0.0, 0.16, 0.0), leg[2]
        clay.limb([foot, 0.5 * (foot + ankle), ankle], [0.19, 0.165, 0.19], steps=8, blend=0.08)
        clay.ball(np.add(ankle, (0, 0.05, 0.0)), (0.25, 0.3, 0.32), blend=0.12)
        clay.limb([ankle, 0.5 * (ankle + knee), knee], [0.2, 0.29, 0.5], steps=6, blend=0.12)
        _foot(clay, foot, heading)
        shank = ankle - foot
        _scutes(clay, foot + 0.16 * shank, foot + 0.9 * shank, np.append(unit(heading), 0.0))
    return clay.mesh(pitch)
