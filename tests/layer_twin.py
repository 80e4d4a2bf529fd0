"""Bare starts and cups of small stacks of images by brute force, for comparison: whole labels of scipy, layer by layer."""

import numpy as np
from scipy import ndimage

EIGHT = np.ones((3, 3), int)


def bare_starts_by_force(stack, least, within):
    """Sorted (layer, pixels, joins or -1) of the regions of a (count, h, w) bool stack, and the number of flecks."""
    stack = stack.copy()
    flecks, starts = 0, []
    for k in range(1, len(stack)):
        labels, count = ndimage.label(stack[k], EIGHT)
        for region in range(1, count + 1):
            inside = labels == region
            if not (inside & stack[k - 1]).any():
                if inside.sum() < least:
                    stack[k][inside] = False
                    flecks += 1
                else:
                    starts.append((k, inside))
    found = []
    for k, inside in starts:
        joins = -1
        for later in range(within + 1):
            top = k + later
            if top >= len(stack):
                break
            if _held(stack[: top + 1])[k][inside].all():
                joins = later
                break
        found.append((k, int(inside.sum()), joins))
    return sorted(found), flecks


def _held(stack):
    """Voxels that hang together with layer 0: by edge or corner within a layer, straight from layer to layer."""
    bonds = np.zeros((3, 3, 3), int)
    bonds[1] = 1
    bonds[0, 1, 1] = bonds[2, 1, 1] = 1
    labels, _ = ndimage.label(stack, bonds)
    return np.isin(labels, np.setdiff1d(labels[0], 0))


def mouths_by_force(stack):
    """Per layer the sorted (mouth, voxels) of the hollows that the film closes, of a (count, h, w) bool stack.

    Empty voxels up to each layer are labelled anew, by faces; outside is whatever reaches the sides.
    """
    found = []
    for k in range(len(stack)):
        labels, count = ndimage.label(~stack[: k + 1])
        sides = np.concatenate(
            [labels[:, 0].ravel(), labels[:, -1].ravel(), labels[:, :, 0].ravel(), labels[:, :, -1].ravel()]
        )
        rows = []
        for label in np.setdiff1d(np.arange(1, count + 1), sides):
            mouth = int((labels[k] == label).sum())
            if mouth:
                rows.append((mouth, int((labels == label).sum())))
        found.append(sorted(rows))
    return found
