"""Where everything stands: the landmarks that the parts share. Units are the sculptor's own; he faces -y."""

import numpy as np

TOTAL_HEIGHT = 17.3
WATER = 0.72
DECK = 1.42

# weight on his right leg (-x), the left set forward and turned out
RIGHT_LEG = np.array([[-0.70, 0.20, DECK + 0.12], [-0.88, 0.80, 4.15], [-0.78, -0.25, 6.5]])
LEFT_LEG = np.array([[0.95, -1.15, DECK + 0.12], [0.98, -0.25, 3.95], [0.55, -0.75, 6.3]])

PELVIS = np.array([-0.32, 0.05, 7.35])
BELLY = np.array([-0.22, -0.28, 8.3])
CHEST = np.array([0.02, -0.05, 9.85])
HUMP = np.array([0.05, 0.75, 11.0])

NECK = np.array(
    [[0.05, 0.45, 11.0], [0.02, 0.95, 12.2], [0.0, 0.75, 13.2], [0.05, 0.15, 14.0], [0.12, -0.55, 14.25]]
)
SKULL = np.array([0.14, -0.78, 14.2])
GAZE = np.array([0.30, -0.78, -0.55]) / np.linalg.norm([0.30, -0.78, -0.55])

RIGHT_ARM = np.array([[-1.45, 0.15, 11.05], [-2.75, 0.55, 9.15], [-2.72, -1.02, 10.35]])
LEFT_ARM = np.array([[1.45, 0.05, 10.85], [2.75, -0.75, 9.35], [3.2, -2.75, 10.35]])

POLE = np.array([[-3.35, -1.75, 0.3], [-2.93, -1.45, 10.2], [-2.62, -1.2, TOTAL_HEIGHT - 0.1]])
POLE_RADIUS = 0.25
LANTERN_TOP = np.array([3.22, -3.02, 9.75])


def pole_at(height):
    """The pole's middle at a height."""
    share = (height - POLE[0, 2]) / (POLE[2, 2] - POLE[0, 2])
    straight = POLE[0] + share * (POLE[2] - POLE[0])
    return straight + np.array([-0.07, -0.05, 0.0]) * np.sin(np.pi * share)
