"""Where everything stands: the landmarks that the parts share. Units are the sculptor's own; he faces -y."""

import numpy as np

TOTAL_HEIGHT = 17.3
WATER = 0.72
DECK = 1.52

# weight on his left leg (+x), hips swung over it; the right set forward; the trunk leans into the pole
RIGHT_LEG = np.array([[-0.42, -1.3, DECK + 0.12], [-0.95, -0.55, 4.25], [-0.6, -1.15, 6.75]])
LEFT_LEG = np.array([[0.7, 0.55, DECK + 0.12], [0.98, 1.15, 4.55], [0.78, 0.0, 7.0]])

PELVIS = np.array([0.42, 0.25, 7.75])
BELLY = np.array([0.12, -0.25, 8.75])
CHEST = np.array([-0.36, -0.5, 10.0])
HUMP = np.array([-0.42, 0.5, 11.2])

NECK = np.array(
    [[-0.38, 0.1, 11.1], [-0.42, 0.6, 12.1], [-0.4, 0.35, 13.1], [-0.4, -0.5, 13.75], [-0.38, -1.25, 13.9]]
)
SKULL = np.array([-0.4, -1.6, 13.9])
GAZE = np.array([-0.33, -0.8, -0.5]) / np.linalg.norm([-0.33, -0.8, -0.5])

RIGHT_ARM = np.array([[-1.65, -0.2, 11.25], [-2.68, -0.8, 10.4], [-3.12, -2.3, 12.2]])
LEFT_ARM = np.array([[1.15, -0.15, 10.8], [2.35, -0.72, 9.8], [3.3, -2.3, 10.55]])
LEFT_SEAT = LEFT_ARM[0] + 0.5 * (LEFT_ARM[1] - LEFT_ARM[0]) / np.linalg.norm(LEFT_ARM[1] - LEFT_ARM[0])
"""Where the lantern arm, which is cast apart, sits on its shoulder; the job's keep cuts it here."""
LEFT_SEAT_WAY = np.array([-0.67, 0.62, 0.41]) / np.linalg.norm([-0.67, 0.62, 0.41])
"""The way in which it is put on: between the strap and the cloak's edge."""

POLE = np.array([[-3.6, -1.7, 0.3], [-3.45, -3.05, 12.4], [-3.4, -3.65, TOTAL_HEIGHT - 0.1]])
POLE_RADIUS = 0.24
GRIP_HEIGHT = 12.9
LANTERN_TOP = np.array([3.6, -3.1, 9.25])
HANDLE_RISE = 1.25
HANDLE_WAY = np.array([0.96, 0.28, 0.0])
BASKET_PRESS = (0.33, 0.5)
"""Where the basket lies on the cloak: shares down and across."""
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
