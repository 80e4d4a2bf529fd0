"""Euler's load of posts whose thickness changes along the way: hinged at the top, hinged or held at the bottom.

Under its load P a post bends by w where the moment is P w: w = P L² ∫ g(s, t) w(t) / (E I(t)) dt, with g the bending of a hinged
beam under a unit moment's curvature, s (1 - t) for s < t. The greatest eigenvalue of that integral is 1 / P (any textbook of
elastic stability; the integral equation of the column).

A foot that is held adds a moment m s that keeps its slope, ∫ s κ ds of the curvature κ = (P w + m s) / (E I), at zero. With
y = w / √(E I) that takes from √(1 / E I) g √(1 / E I) all that lies along s / √(E I): what is left is symmetric again.
"""

import functools

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

CELLS = 24
"""Even parts that a post is cut into. A post of two halves, one of them four times as stiff, comes out within 0.1 %."""


HELD_SQUARED = 20.190728556426629
"""Squared first root of tan x = x: an even post with a foot that is held bears this times E I / L², for π² with a hinge."""


@functools.cache
def _bending() -> tuple[Floats, Floats, float, float]:
    """s and g at the middles of the cells, and the greatest eigenvalues of even posts: 1 / π² and 1 / 20.19 but for the cells'
    size."""
    at = (np.arange(CELLS) + 0.5) / CELLS
    g = np.minimum(at[:, None], at) * (1.0 - np.maximum(at[:, None], at)) / CELLS
    held = _without(g[None], at[None])[0]
    return at, g, float(np.linalg.eigvalsh(g)[-1]), float(np.linalg.eigvalsh(held)[-1])


def _without(whole: Floats, along: Floats) -> Floats:
    """Symmetric (n, c, c) without what lies along directions (n, c), on either side."""
    unit = along / np.linalg.norm(along, axis=1)[:, None]
    part = np.einsum("nij,nj->ni", whole, unit)
    twice = np.einsum("ni,ni->n", part, unit)[:, None, None] * unit[:, :, None] * unit[:, None, :]
    cross = part[:, :, None] * unit[:, None, :]
    return whole - cross - cross.transpose(0, 2, 1) + twice


def stepped_loads_n(
    modulus_mpa: float,
    lengths_mm: list[Floats],
    diameters_mm: list[Floats],
    held: npt.NDArray[np.bool_] | None = None,
) -> Floats:
    """(n,) load at which each post buckles.

    Parameters
    ----------
    lengths_mm, diameters_mm : list of (k,) float64
        Of the parts that each post is made of, from the top down.
    held : (n,) bool, optional
        Whether its foot is held, so that it can't turn; left out, all are hinged.
    """
    held = np.zeros(len(lengths_mm), bool) if held is None else held
    soft = np.empty((len(lengths_mm), CELLS))
    total = np.array([lengths.sum() for lengths in lengths_mm])
    for n, (lengths, wide) in enumerate(zip(lengths_mm, diameters_mm, strict=True)):
        ends = np.concatenate([[0.0], np.cumsum(lengths)])
        # how much the parts give up to each cell's end, so that a cell with two parts gives as much as both do
        given = np.concatenate([[0.0], np.cumsum(lengths / wide**4)])
        soft[n] = np.diff(np.interp(np.linspace(0.0, ends[-1], CELLS + 1), ends, given)) * CELLS / ends[-1]
    at, g, least, least_held = _bending()
    root = np.sqrt(soft * 64.0 / (np.pi * modulus_mpa))
    # even posts by Euler's load itself, and all others scaled as these are
    even = np.ptp(soft, axis=1) <= 1e-9 * soft.max(axis=1)
    bears = np.where(held, HELD_SQUARED, np.pi**2) / (root[:, 0] * total) ** 2
    for mine, scale in ((held & ~even, HELD_SQUARED * least_held), (~held & ~even, np.pi**2 * least)):
        if mine.any():
            whole = root[mine, :, None] * g * root[mine, None, :]
            if held[mine].all():
                whole = _without(whole, root[mine] * at)
            bears[mine] = scale / (np.linalg.eigvalsh(whole)[:, -1] * total[mine] ** 2)
    return bears
