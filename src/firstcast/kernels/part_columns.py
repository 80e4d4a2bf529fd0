"""Columns of parts, each of its own thickness: what they buckle under, and what each part has to do with it."""

import numpy as np

from firstcast.kernels.compiling import kernel

CELLS = 24
"""As in `printing.stepped`."""

HINGED, HELD = 9.869604401089358, 20.190728556426629
"""π², and as in `printing.stepped`."""


@kernel
def column(lengths, thick, parts, held, modulus, energy):
    """The load that a column of parts (k,) buckles under, and, written, each part's share of the energy that bends it then.

    The integral equation of `printing.stepped`, its greatest eigenvalue by repeated multiplication.
    """
    total = 0.0
    for p in range(parts):
        total += lengths[p]
    soft, which = np.zeros(CELLS), np.zeros((CELLS, parts))
    at = 0.0
    for p in range(parts):
        begin, end = at / total * CELLS, (at + lengths[p]) / total * CELLS
        give = 1.0 / thick[p] ** 4
        for cell in range(int(begin), min(int(np.ceil(end)), CELLS)):
            share = min(end, cell + 1.0) - max(begin, float(cell))
            if share > 0.0:
                soft[cell] += share * give
                which[cell, p] += share * give
        at += lengths[p]
    root, s = np.empty(CELLS), np.empty(CELLS)
    size = 0.0
    for c in range(CELLS):
        s[c] = (c + 0.5) / CELLS
        root[c] = np.sqrt(soft[c] * 64.0 / (np.pi * modulus))
        size += (root[c] * s[c]) ** 2
    y, z = np.empty(CELLS), np.empty(CELLS)
    for c in range(CELLS):
        y[c] = root[c] * np.sin((2.6 if held else np.pi) * s[c])
    value = before = 0.0
    for _ in range(60):
        if held:
            _without(y, root, s, size)
        norm = np.sqrt((y**2).sum())
        y /= norm
        # z = root g root y, with g = s (1 - t) for s < t
        lower = upper = 0.0
        for c in range(CELLS):
            upper += (1.0 - s[c]) * root[c] * y[c]
        for c in range(CELLS):
            lower += s[c] * root[c] * y[c]
            upper -= (1.0 - s[c]) * root[c] * y[c]
            z[c] = root[c] * ((1.0 - s[c]) * lower + s[c] * upper) / CELLS
        if held:
            _without(z, root, s, size)
        value = (y * z).sum()
        y[:] = z
        if abs(value - before) <= 1e-6 * value:
            break
        before = value
    y /= np.sqrt((y**2).sum())
    for p in range(parts):
        energy[p] = 0.0
        for c in range(CELLS):
            energy[p] += y[c] ** 2 * which[c, p] / soft[c]
    # scaled so that even posts come out by Euler's load itself
    scale = HELD * EVEN_HELD if held else HINGED * EVEN_HINGED
    return scale / (value * total**2)


@kernel
def _without(y, root, s, size):
    """Take from y what lies along root s."""
    part = 0.0
    for c in range(CELLS):
        part += y[c] * root[c] * s[c]
    part /= size
    for c in range(CELLS):
        y[c] -= part * root[c] * s[c]


def _even() -> tuple[float, float]:
    """The greatest eigenvalues of even posts of stiffness 1, with a hinge and with a held foot."""
    at = (np.arange(CELLS) + 0.5) / CELLS
    g = np.minimum(at[:, None], at) * (1.0 - np.maximum(at[:, None], at)) / CELLS
    take = np.eye(CELLS) - np.outer(at, at) / (at @ at)
    return float(np.linalg.eigvalsh(take @ g @ take)[-1]), float(np.linalg.eigvalsh(g)[-1])


EVEN_HELD, EVEN_HINGED = _even()
