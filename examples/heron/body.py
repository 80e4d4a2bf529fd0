"""The bird itself: legs, feathered torso, neck with the head and bill, breast plumes."""

import numpy as np
from clay import CARVE, Clay
from plumage import rows_round
from pose import BELLY, CHEST, GAZE, HUMP, LEFT_LEG, NECK, PELVIS, RIGHT_LEG, SKULL
from surfaces import blade, joined, unit


def torso_clay():
    """The bare torso: breast bone forward, back humped, hips swung over the standing leg."""
    clay = Clay()
    clay.ball(CHEST, (1.55, 1.35, 1.75), axis=(0.05, 0.12, 1))
    clay.ball(BELLY, (1.3, 1.2, 1.35), blend=0.8)
    clay.ball(CHEST + (0.0, -0.75, -0.35), (0.85, 0.75, 1.35), axis=(0, -0.2, 1), blend=0.6)
    clay.ball(PELVIS, (1.15, 1.15, 1.0), blend=0.7)
    clay.ball(HUMP, (1.25, 0.95, 1.15), blend=0.9)
    clay.ball((-1.2, 0.2, 10.95), (0.75, 0.7, 0.7), blend=0.6)
    clay.ball((1.2, 0.1, 10.75), (0.75, 0.7, 0.7), blend=0.6)
    clay.cone(RIGHT_LEG[2] + (0.05, 0.1, 0.6), RIGHT_LEG[1] * 0.45 + RIGHT_LEG[2] * 0.55, 0.85, 0.36, blend=0.5)
    clay.cone(LEFT_LEG[2] + (0.0, 0.15, 0.7), LEFT_LEG[1] * 0.45 + LEFT_LEG[2] * 0.55, 0.85, 0.36, blend=0.5)
    return clay


def _down(root, normal, tangent):
    return np.array([0.22 * np.sign(root[0]) * min(abs(root[0]), 1.0), 0.0, -1.0])


def torso(pitch):
    """Torso with rows of feathers, larger toward the belly, and shaggy thighs."""
    clay = torso_clay()
    rng = np.random.default_rng(7301)
    axis = [(0.0, 0.1, 11.9), (0.0, 0.05, 10.5), (-0.1, 0.0, 9.0), (-0.25, 0.0, 7.0)]
    rows_round(clay, axis, [0.5, 0.62, 0.8, 0.9], rng, flow=_down, lift=0.12)
    for leg, lean in ((RIGHT_LEG, 0.0), (LEFT_LEG, 0.1)):
        low = leg[1] * 0.40 + leg[2] * 0.60
        rows_round(
            clay, [leg[2] + (0, 0.1, 0.2), low], [0.7, 0.55], rng, flow=lambda r, n, t: t, lift=0.11, point=0.55, slim=0.6
        )
    return clay.mesh(pitch)


def head_clay():
    """Neck, skull, brow and bill, without feathers."""
    clay = Clay()
    clay.limb(NECK, [0.95, 0.72, 0.62, 0.58, 0.52], steps=8)
    side = unit(np.cross(GAZE, (0, 0, 1)))
    up = np.cross(side, GAZE)
    clay.ball(SKULL, (0.62, 0.62, 0.92), axis=GAZE, across=side, blend=0.35)
    clay.ball(SKULL + 0.28 * up - 0.2 * GAZE, (0.5, 0.4, 0.75), axis=GAZE, across=side, blend=0.3)
    start = SKULL + 0.45 * GAZE
    tip = SKULL + 4.35 * GAZE
    # upper and lower mandible with the gape between them
    clay.limb([start + 0.05 * up, start + 1.3 * GAZE + 0.07 * up, tip - 0.9 * GAZE + 0.03 * up, tip - 0.12 * up],
              [0.46, 0.36, 0.2, 0.1], steps=8, blend=0.22, flat=0.72, across=side)
    clay.limb([start - 0.22 * up, start + 1.3 * GAZE - 0.2 * up, tip - 0.35 * GAZE - 0.12 * up],
              [0.36, 0.26, 0.09], steps=8, blend=0.1, flat=0.72, across=side)
    for s in (-1.0, 1.0):
        gape = [start + 0.42 * s * side - 0.02 * GAZE - 0.1 * up, start + 1.4 * GAZE + 0.3 * s * side - 0.09 * up,
                tip - 0.9 * GAZE + 0.15 * s * side - 0.08 * up]
        clay.limb(gape, [0.06, 0.06, 0.035], steps=8, op=CARVE, blend=0.03)
        nostril = start + 0.75 * GAZE + 0.3 * s * side + 0.16 * up
        clay.limb([nostril, nostril + 0.5 * GAZE - 0.04 * s * side], [0.055, 0.03], op=CARVE, blend=0.03)
        eye = SKULL + 0.42 * GAZE + 0.47 * s * side + 0.2 * up
        clay.ball(eye, 0.3, op=CARVE, blend=0.1)
        clay.ball(eye - 0.02 * s * side, 0.235)
        clay.ball(eye + 0.2 * s * side + 0.06 * GAZE, 0.07, op=CARVE, blend=0.03)
        clay.limb([eye - 0.42 * GAZE + 0.12 * up, eye + 0.22 * up + 0.06 * s * side, eye + 0.5 * GAZE + 0.02 * up - 0.12 * s * side],
                  [0.1, 0.14, 0.06], blend=0.08)
        clay.limb([eye - 0.3 * GAZE - 0.1 * up, eye - 0.22 * up + 0.03 * s * side, eye + 0.3 * GAZE - 0.12 * up - 0.08 * s * side],
                  [0.06, 0.08, 0.05], blend=0.06)
    return clay


def head(pitch):
    """The head and neck, feathered down to the breast."""
    clay = head_clay()
    rng = np.random.default_rng(5119)
    bill = SKULL + 0.55 * GAZE
    rows_round(
        clay, NECK[::-1], [0.34, 0.42, 0.6, 0.8], rng, flow=lambda r, n, t: t + (0, 0, -0.3), lift=0.1, point=0.5, slim=0.62,
        keep=lambda p: (p - bill) @ GAZE < -0.45,
    )
    return clay.mesh(pitch)


def plumes():
    """Long lance feathers that hang from the foot of the neck over the breast."""
    rng = np.random.default_rng(907)
    meshes = []
    for row, (height, count, spread, long) in enumerate(((11.75, 7, 0.8, 2.5), (12.15, 6, 0.62, 2.3), (12.5, 5, 0.45, 2.0))):
        for k in range(count):
            s = 2.0 * (k + 0.5 + rng.uniform(-0.15, 0.15)) / count - 1.0
            root = np.array([0.03 + spread * s, -0.62 + 0.42 * s * s - 0.12 * row, height - 0.25 * s * s])
            lie = np.array([0.34 * s, -0.62 + 0.1 * row, -1.0])
            own = long * (1.0 - 0.28 * abs(s)) * rng.uniform(0.85, 1.12)
            meshes.append(
                blade(root, lie, (0.35 * s, -1, 0.15), own, 0.46, thick=0.17, bend=rng.uniform(-0.15, 0.15), curl=-0.42, point=0.85)
            )
    return joined(meshes)


def _foot(clay, ankle, heading):
    heading = np.append(unit(heading), 0.0)
    floor = ankle[2] - 0.02
    root = np.array([ankle[0], ankle[1], floor])
    for turn, long in ((-0.55, 1.15), (0.0, 1.4), (0.55, 1.15), (3.0, 0.75)):
        c, s = np.cos(turn), np.sin(turn)
        toe = np.array([c * heading[0] - s * heading[1], s * heading[0] + c * heading[1], 0.0])
        joints = [root + (0, 0, 0.16), root + 0.38 * long * toe + (0, 0, 0.2), root + 0.72 * long * toe + (0, 0, 0.06),
                  root + long * toe + (0, 0, 0.0)]
        clay.limb(joints, [0.22, 0.19, 0.16, 0.13], steps=6, blend=0.12)
        for knuckle in (0.42, 0.75):
            clay.ball(root + knuckle * long * toe + (0, 0, 0.16 if knuckle < 0.5 else 0.06), 0.2, blend=0.08)
        claw = root + long * toe
        clay.limb([claw + (0, 0, 0.04), claw + 0.2 * toe + (0, 0, 0.04), claw + 0.36 * toe + (0, 0, -0.1)], [0.12, 0.09, 0.03], steps=4)


def legs(pitch):
    """Two wading legs: knobbed ankles, scutes up the shank, long toes with claws."""
    clay = Clay()
    for leg, heading in ((RIGHT_LEG, (-0.28, -1.0)), (LEFT_LEG, (0.38, -1.0))):
        foot, ankle, knee = leg
        middle = 0.5 * (foot + ankle) + (0.0, 0.06, 0.0)
        clay.limb([foot, middle, ankle], [0.25, 0.24, 0.3], steps=8, blend=0.1)
        clay.ball(ankle + (0, 0.02, 0.0), (0.35, 0.38, 0.44), blend=0.2)
        clay.limb([ankle, 0.5 * (ankle + knee), knee], [0.3, 0.36, 0.5], steps=6, blend=0.15)
        _foot(clay, foot, heading)
        clay.grain(3, 0.055, (1, 1, 0.21), centre=0.5 * (foot + ankle), reach=2.2, axis=ankle - foot)
    return clay.mesh(pitch)
