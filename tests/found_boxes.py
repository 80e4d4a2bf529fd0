"""Parts as a folder of boxes, found but not read: what a first job file is guessed from."""

from firstcast.geometry.extents import PartExtents
from firstcast.io._guesses import FoundPart


def box(name, low, high, **declared):
    return FoundPart(PartExtents(name, tuple(map(float, low)), tuple(map(float, high))), **declared)


TORSO = box("torso", (0, 0, 0), (10, 10, 40))
HEAD = box("head", (2, 2, 39), (8, 8, 54))
ARM = box("Left arm", (-5, 2, 20), (0.5, 5, 35))
LANTERN = box("lantern", (-8, 2, 18), (-4, 6, 22))
DOG = box("dog", (40, 0, 0), (50, 10, 9))
RULER = box("ruler_30mm", (30, 0, 0), (32, 2, 30))
