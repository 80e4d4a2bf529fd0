"""Euler's load of posts whose thickness changes along the way, both ends as hinges.

Under its load P a post bends by w where the moment is P w: w = P L² ∫ g(s, t) w(t) / (E I(t)) dt, with g the bending of a hinged
beam under a unit moment's curvature, s (1 - t) for s < t. The greatest eigenvalue of that integral is 1 / P (any textbook of
elastic stability; the integral equation of the column).
"""

import functools

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

CELLS = 24
"""Even parts that a post is cut into. A post of two halves, one of them four times as stiff, comes out within 0.1 %."""


@functools.cache
def _bending() -> tuple[Floats, float]:
    """g between the middles of the cells, and its greatest eigenvalue, 1 / π² but for the cells' size."""
    at = (np.arange(CELLS) + 0.5) / CELLS
    g = np.minimum(at[:, None], at) * (1.0 - np.maximum(at[:, None], at)) / CELLS
    return g, float(np.linalg.eigvalsh(g)[-1])


def hinged_loads_n(modulus_mpa: float, lengths_mm: list[Floats], diameters_mm: list[Floats]) -> Floats:
    """(n,) load at which each post buckles.

    Parameters
    ----------
    lengths_mm, diameters_mm : list of (k,) float64
        Of the parts that each post is made of, from one end to the other.
    """
    soft = np.empty((len(lengths_mm), CELLS))
    total = np.array([lengths.sum() for lengths in lengths_mm])
    for n, (lengths, wide) in enumerate(zip(lengths_mm, diameters_mm, strict=True)):
        ends = np.concatenate([[0.0], np.cumsum(lengths)])
        # how much the parts give up to each cell's end, so that a cell with two parts gives as much as both do
        given = np.concatenate([[0.0], np.cumsum(lengths / wide**4)])
        soft[n] = np.diff(np.interp(np.linspace(0.0, ends[-1], CELLS + 1), ends, given)) * CELLS / ends[-1]
    g, least = _bending()
    root = np.sqrt(soft * 64.0 / (np.pi * modulus_mpa))
    even = np.ptp(soft, axis=1) <= 1e-9 * soft.max(axis=1)
    most = least * root[:, 0] ** 2
    if not even.all():
        rows = np.flatnonzero(~even)
        most[rows] = np.linalg.eigvalsh(root[rows, :, None] * g * root[rows, None, :])[:, -1]
    # scaled so that an even post bears Euler's load
    return np.pi**2 * least / (most * total**2)
