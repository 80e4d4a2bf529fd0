"""Where everything stands: the landmarks that the parts share. Units are the sculptor's own; he faces -y."""

import numpy as np

TOTAL_HEIGHT = 17.3
WATER = 0.72
DECK = 1.52

# weight on his left leg (+x), hips swung over it; the right set forward; shoulders leaning to the pole
RIGHT_LEG = np.array([[-0.62, -1.0, DECK + 0.12], [-0.9, -0.15, 4.25], [-0.58, -0.95, 6.75]])
LEFT_LEG = np.array([[0.52, 0.25, DECK + 0.12], [0.78, 0.95, 4.55], [0.72, -0.1, 7.0]])

PELVIS = np.array([0.28, 0.2, 7.75])
BELLY = np.array([0.06, -0.2, 8.7])
CHEST = np.array([-0.36, -0.28, 10.0])
HUMP = np.array([-0.38, 0.65, 11.2])

NECK = np.array(
    [[-0.38, 0.25, 11.1], [-0.36, 0.75, 12.1], [-0.3, 0.5, 13.1], [-0.2, -0.4, 13.8], [-0.1, -1.2, 13.85]]
)
SKULL = np.array([-0.06, -1.5, 13.8])
GAZE = np.array([0.34, -0.72, -0.6]) / np.linalg.norm([0.34, -0.72, -0.6])

RIGHT_ARM = np.array([[-1.65, 0.0, 11.2], [-2.95, 0.35, 9.55], [-2.75, -1.15, 10.95]])
LEFT_ARM = np.array([[1.2, 0.05, 10.75], [2.55, -0.7, 9.25], [3.15, -2.75, 10.2]])

POLE = np.array([[-3.75, -0.75, 0.3], [-2.92, -1.75, 11.0], [-2.42, -2.25, TOTAL_HEIGHT - 0.1]])
POLE_RADIUS = 0.24
GRIP_HEIGHT = 11.6
LANTERN_TOP = np.array([3.36, -3.42, 8.95])
HANDLE_RISE = 1.25
HANDLE_WAY = np.array([0.96, 0.28, 0.0])
BOAT_TURN_DEG = 19.0


def boat_turned(points):
    """Points of the boat's own frame (bow to -y) turned about the vertical."""
    c, s = np.cos(np.deg2rad(BOAT_TURN_DEG)), np.sin(np.deg2rad(BOAT_TURN_DEG))
    points = np.asarray(points, float)
    return points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]])


def pole_at(height):
    """The pole's middle at a height."""
    share = (height - POLE[0, 2]) / (POLE[2, 2] - POLE[0, 2])
    straight = POLE[0] + share * (POLE[2] - POLE[0])
    return straight + np.array([-0.07, -0.05, 0.0]) * np.sin(np.pi * share)
