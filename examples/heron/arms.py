"""The two feathered arms: one grips the pole, one carries the lantern."""

import numpy as np
from clay import Clay, frame
from hands import Grip, hand
from pose import GRIP_HEIGHT, HANDLE_RISE, HANDLE_WAY, LANTERN_TOP, LEFT_ARM, RIGHT_ARM, pole_at
from scipy.ndimage import gaussian_filter1d
from surfaces import blade, carried_frames, joined, leaf, spline, tube, unit


def _arm_path(joints):
    """(n, 3) the arm's middle from within the shoulder to the cuff, its elbow rounded; and radii (n,)."""
    shoulder, elbow, wrist = joints
    lie = unit(wrist - elbow)
    path = spline([shoulder + 0.5 * (shoulder - elbow), shoulder, elbow, wrist - 0.42 * lie], 300)[60:]
    path = np.stack([gaussian_filter1d(path[:, k], 22.0, mode="nearest") for k in range(3)], 1)
    share = _shares(path)
    return path, np.interp(share, [0.0, 0.3, 0.6, 0.85, 1.0], [0.74, 0.7, 0.62, 0.5, 0.36])


def _shares(path):
    """(n,) the share of a path's length at each of its points."""
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    return along / along[-1]


def arm_clay(joints):
    """The bare arm from shoulder to wrist."""
    clay = Clay()
    path, radius = _arm_path(joints)
    wrist = np.asarray(joints[2], float)
    clay.limb([*path[::30], wrist], [*(radius[::30] - 0.03), 0.25], steps=2, blend=0.1)
    return clay


def _coverts(joints, *, rows=8, slim=0.84, begin=0.0, tips=0.15):
    """Even rows of coverts from the shoulder over the elbow to the cuff, like tiles: each row over the next one's roots."""
    path, radius = _arm_path(joints)
    first, second = carried_frames(path)
    share = _shares(path)
    reach = np.linalg.norm(np.diff(path, axis=0), axis=1).sum()
    shape = {"thick": 0.2, "point": 0.12, "barbs": 0.0, "hollow": 0.07, "columns": 11}
    length = 1.9 * (1.0 - begin) / rows
    meshes = []
    for row in range(rows):
        start = begin + row * (1.0 - begin - length) / (rows - 1)
        t = np.linspace(start, start + length, 12)
        k = np.clip(np.searchsorted(share, np.clip(t, 0.0, 1.0)), 0, len(path) - 1)
        size = length * reach
        count = int(np.ceil(2.0 * np.pi * radius[k[4]] / (0.62 * slim * size)))
        lift = np.interp(t, [start, start + 0.4 * length, start + length], [-0.12, 0.06, tips])
        for place in range(count):
            turn = 2.0 * np.pi * (place + 0.5 * (row % 2)) / count
            around = np.cos(turn) * first[k] + np.sin(turn) * second[k]
            # every other one lies higher, so that neighbours cross steeply
            spine = path[k] + (radius[k] + lift + 0.06 * (place % 2))[:, None] * around
            long = np.linalg.norm(spine[-1] - spine[0])
            if long > 0.6 * size:  # in the crook, where the skin folds, there is no room for one
                meshes.append(leaf(spline(spine, 16), unit(spline(around, 16)), long * slim, **shape))
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


def flight_feathers(joints, *, drop, outward, begin=0.1):
    """Three tiers of feathers hanging from the forearm between `begin` and the wrist, longest toward the elbow."""
    _, elbow, wrist = joints
    lie = unit(wrist - elbow)
    outward = np.asarray(outward, float)
    meshes = []
    for tier, (long, wide, count) in enumerate(((1.0, 0.78, 6), (0.62, 0.7, 6), (0.34, 0.6, 6))):
        for k in range(count):
            share = begin + (0.92 - begin) * (k + 0.25 + 0.5 * (tier % 2)) / count
            root = elbow + share * (wrist - elbow) + (0.04 + 0.15 * tier) * outward - (0, 0, 0.12)
            length = drop * long * (1.1 - 0.45 * share)
            way = np.array([0, 0, -1.0]) - 0.7 * lie * (1.05 - 0.8 * share) + 0.05 * outward
            meshes.append(
                blade(
                    root,
                    way,
                    outward,
                    length,
                    wide,
                    thick=0.24,
                    bend=0.12,
                    curl=0.04 * length,
                    point=0.2,
                    barbs=2.6,
                )
            )
    return joined(meshes)


def grip_hand(pitch):
    """The hand round the pole."""
    _, elbow, wrist = RIGHT_ARM
    centre = pole_at(GRIP_HEIGHT)
    axis = unit(pole_at(GRIP_HEIGHT + 1) - pole_at(GRIP_HEIGHT - 1))
    start = wrist + np.array([0.1, 0.25, 0.0]) - centre
    return hand(elbow, wrist, Grip(centre, axis, start), bar=0.28, reach=3.9).mesh(pitch)


def grip_arm(pitch):
    """The arm that leans on the pole."""
    return joined([arm_clay(RIGHT_ARM).mesh(pitch), *_coverts(RIGHT_ARM), *_cuff(RIGHT_ARM)])


def arm_wing(pitch):
    """The lantern arm, from within the shoulder on: the job cuts it at its seat."""
    return joined(
        [arm_clay(LEFT_ARM).mesh(pitch), *_coverts(LEFT_ARM, begin=0.16, tips=0.04), *_cuff(LEFT_ARM)]
    )


def arm_hand(pitch):
    """The hand under whose fingers the lantern's handle hangs."""
    _, elbow, wrist = LEFT_ARM
    centre = LANTERN_TOP + np.array([0, 0, HANDLE_RISE])
    grip = Grip(centre, HANDLE_WAY, np.array([0.0, 0.75, 0.66]))
    # its thumb lies on the side of the body
    return hand(elbow, wrist, grip, bar=0.13, reach=4.2, spacing=-0.36, width=0.2, thumb=3.4).mesh(pitch)
