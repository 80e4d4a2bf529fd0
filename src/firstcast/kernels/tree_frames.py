"""A tree of round beams under loads, solved from its tips down to its foot: no matrix larger than a node's own.

Members and joints are those of `printing.frame`. Each node goes down to one other and comes before it; so what stands above a
node gives it one stiffness of 6 by 6 and one load for each case, and a tree is solved in as many steps as it has nodes.
"""

import numpy as np

from firstcast.kernels.compiling import kernel

SHEAR_RATIO = 2.7
"""As in `printing.frame`."""

FREE, TIP, FOOT = 0, 1, 2
"""How a node is held: not at all; along x and y; wholly, where a tree ends."""


@kernel(makes_arrays=False)
def along_of(places, down, along, length):
    """Write unit directions (n, 3) and lengths (n,) of the members that go down from nodes; the last has none."""
    for n in range(places.shape[0]):
        below = down[n]
        if below < 0:
            length[n] = 0.0
            continue
        total = 0.0
        for i in range(3):
            along[n, i] = places[below, i] - places[n, i]
            total += along[n, i] ** 2
        length[n] = np.sqrt(total)
        for i in range(3):
            along[n, i] /= length[n]


@kernel(makes_arrays=False)
def _blocks(a, t_along, t_across, c, r_along, r_across, q_along, q_across, upper, both, lower):
    """Write what a member along `a` gives: (6, 6) of its upper node, between the two, and of its lower node."""
    for i in range(3):
        for j in range(3):
            aa = a[i] * a[j]
            rest = (1.0 if i == j else 0.0) - aa
            t = t_along * aa + t_across * rest
            r = r_along * aa + r_across * rest
            upper[i, j], lower[i, j], both[i, j] = t, t, -t
            upper[3 + i, 3 + j], lower[3 + i, 3 + j] = r, r
            both[3 + i, 3 + j] = q_along * aa + q_across * rest
            upper[i, 3 + j] = upper[3 + i, j] = lower[i, 3 + j] = lower[3 + i, j] = 0.0
            both[i, 3 + j] = both[3 + i, j] = 0.0
    # a turn about t moves an end along t x a
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        # (t x a)_i = t_j a_k - t_k a_j
        upper[i, 3 + j], upper[i, 3 + k] = c * a[k], -c * a[j]
        upper[3 + j, i], upper[3 + k, i] = c * a[k], -c * a[j]
        both[i, 3 + j], both[i, 3 + k] = c * a[k], -c * a[j]
        both[3 + j, i], both[3 + k, i] = -c * a[k], c * a[j]
        lower[i, 3 + j], lower[i, 3 + k] = -c * a[k], c * a[j]
        lower[3 + j, i], lower[3 + k, i] = -c * a[k], c * a[j]


@kernel(makes_arrays=False)
def _stiffness(a, length, thick, modulus, upper, both, lower):
    area, second = np.pi * thick**2 / 4.0, np.pi * thick**4 / 64.0
    bend, twist = modulus * second / length, modulus / SHEAR_RATIO * 2.0 * second / length
    _blocks(
        a, modulus * area / length, 12.0 * bend / length**2, 6.0 * bend / length, twist, 4.0 * bend, -twist, 2.0 * bend,
        upper, both, lower,
    )  # fmt: skip


@kernel(makes_arrays=False)
def _turning(a, length, pressed, upper, both, lower):
    """What a thrust takes from a member's stiffness."""
    _blocks(
        a, 0.0, 1.2 * pressed / length, pressed / 10.0, 0.0, 2.0 * pressed * length / 15.0, 0.0, -pressed * length / 30.0,
        upper, both, lower,
    )  # fmt: skip


@kernel(makes_arrays=False)
def _invert(s):
    """Turn a symmetric positive (6, 6) into its inverse, in place (Gauss-Jordan without exchange)."""
    for k in range(6):
        pivot = 1.0 / s[k, k]
        for j in range(6):
            s[k, j] *= pivot
        s[k, k] = pivot
        for i in range(6):
            if i != k:
                f = s[i, k]
                s[i, k] = 0.0
                for j in range(6):
                    s[i, j] -= f * s[k, j]


@kernel
def factor(along, length, down, held, thick, modulus, inverse, passed):
    """Make a tree ready for loads: `inverse` (n, 6, 6) of what each node is held by once all above it is counted, and `passed`
    (n, 6, 6), how it follows the node below.
    """
    inverse[:] = 0.0
    upper, both, lower = np.empty((6, 6)), np.empty((6, 6)), np.empty((6, 6))
    for n in range(down.shape[0]):
        below = down[n]
        if below < 0:
            continue
        _stiffness(along[n], length[n], thick[n], modulus, upper, both, lower)
        own = inverse[n]
        for i in range(6):
            for j in range(6):
                own[i, j] += upper[i, j]
        if held[n] == TIP:
            for i in range(2):
                for j in range(6):
                    own[i, j] = own[j, i] = 0.0
                    both[i, j] = 0.0
                own[i, i] = 1.0
        _invert(own)
        if held[n] == TIP:
            own[0, 0] = own[1, 1] = 0.0
        for i in range(6):
            for j in range(6):
                total = 0.0
                for k in range(6):
                    total += own[i, k] * both[k, j]
                passed[n, i, j] = total
        for i in range(6):
            for j in range(6):
                total = lower[i, j]
                for k in range(6):
                    total -= both[k, i] * passed[n, k, j]
                inverse[below, i, j] += total


@kernel
def solve(down, inverse, passed, loads):
    """Turn loads (n, 6, cases) into shifts and turns, in place."""
    cases = loads.shape[2]
    for n in range(down.shape[0]):
        below = down[n]
        if below < 0:
            continue
        for i in range(6):
            for k in range(6):
                p = passed[n, k, i]
                for c in range(cases):
                    loads[below, i, c] -= p * loads[n, k, c]
    mine = np.empty((6, cases))
    for n in range(down.shape[0] - 1, -1, -1):
        below = down[n]
        if below < 0:
            loads[n] = 0.0
            continue
        mine[:] = 0.0
        for i in range(6):
            for k in range(6):
                s, p = inverse[n, i, k], passed[n, i, k]
                for c in range(cases):
                    mine[i, c] += s * loads[n, k, c] - p * loads[below, k, c]
        loads[n] = mine


@kernel
def forces(along, length, down, thick, modulus, moved, axial, bending):
    """Write what pulls members (n, cases), and the greater bending moment of their two ends (n, cases)."""
    first, last = np.empty(3), np.empty(3)
    for n in range(down.shape[0]):
        below = down[n]
        if below < 0:
            axial[n] = 0.0
            bending[n] = 0.0
            continue
        a = along[n]
        area, second = np.pi * thick[n] ** 2 / 4.0, np.pi * thick[n] ** 4 / 64.0
        pull, bend = modulus * area / length[n], modulus * second / length[n]
        c = 6.0 * bend / length[n]
        for case in range(moved.shape[2]):
            stretch = along_first = along_last = 0.0
            for i in range(3):
                stretch += (moved[below, i, case] - moved[n, i, case]) * a[i]
                along_first += moved[n, 3 + i, case] * a[i]
                along_last += moved[below, 3 + i, case] * a[i]
            axial[n, case] = pull * stretch
            top = bottom = 0.0
            for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
                # a x (upper shift - lower shift)
                side = a[j] * (moved[n, k, case] - moved[below, k, case]) - a[k] * (
                    moved[n, j, case] - moved[below, j, case]
                )
                turn = moved[n, 3 + i, case] - along_first * a[i]
                other = moved[below, 3 + i, case] - along_last * a[i]
                first[i] = c * side + bend * (4.0 * turn + 2.0 * other)
                last[i] = c * side + bend * (2.0 * turn + 4.0 * other)
                top += first[i] ** 2
                bottom += last[i] ** 2
            bending[n, case] = np.sqrt(max(top, bottom))


@kernel(makes_arrays=False)
def _times(upper, both, lower, moved, n, below, out):
    """Add a member's matrix times what its ends move by."""
    for i in range(6):
        for k in range(6):
            u, b, back, low = upper[i, k], both[i, k], both[k, i], lower[i, k]
            for c in range(moved.shape[2]):
                out[n, i, c] += u * moved[n, k, c] + b * moved[below, k, c]
                out[below, i, c] += back * moved[n, k, c] + low * moved[below, k, c]


@kernel
def turned(along, length, down, held, axial, moved, out):
    """Write what thrusts -axial (n,) make of shifts (n, 6, m): the geometric stiffness times them."""
    out[:] = 0.0
    upper, both, lower = np.empty((6, 6)), np.empty((6, 6)), np.empty((6, 6))
    for n in range(down.shape[0]):
        below = down[n]
        if below >= 0:
            _turning(along[n], length[n], -axial[n], upper, both, lower)
            _times(upper, both, lower, moved, n, below, out)
    for n in range(down.shape[0]):
        if held[n] == TIP:
            out[n, :2] = 0.0
        elif held[n] == FOOT:
            out[n] = 0.0


@kernel
def energies(along, length, down, thick, modulus, moved, out):
    """Write for each member (n, m) twice the energy that bends it by shifts (n, 6, m)."""
    upper, both, lower = np.empty((6, 6)), np.empty((6, 6)), np.empty((6, 6))
    for n in range(down.shape[0]):
        below = down[n]
        if below < 0:
            out[n] = 0.0
            continue
        _stiffness(along[n], length[n], thick[n], modulus, upper, both, lower)
        for c in range(moved.shape[2]):
            total = 0.0
            for i in range(6):
                for k in range(6):
                    total += moved[n, i, c] * (
                        upper[i, k] * moved[n, k, c] + 2.0 * both[i, k] * moved[below, k, c]
                    )
                    total += moved[below, i, c] * lower[i, k] * moved[below, k, c]
            out[n, c] = total


@kernel
def sway(along, length, down, held, thick, modulus, axial, inverse, passed, shapes, rounds, shares, energy):
    """The ways in which a tree gives way first, by repeated solves (subspace iteration with Ritz values).

    Parameters
    ----------
    axial : (n,) float64
        What pulls members.
    inverse, passed : (n, 6, 6) float64
        Of `factor`.
    shapes : (n, 6, m) float64
        To begin with; improved in place, the first to give way first.
    shares : (m,) float64
        Written: see `frame.buckling_modes`.
    energy : (n, m) float64
        Written: share of each member in the energy of each way.
    """
    count, m = shapes.shape[0], shapes.shape[2]
    turned_by, after = np.empty_like(shapes), np.empty_like(shapes)
    stiff, soft = np.empty((m, m)), np.empty((m, m))
    turned(along, length, down, held, axial, shapes, turned_by)
    for _ in range(rounds):
        shapes[:] = turned_by
        solve(down, inverse, passed, shapes)
        # K shapes = turned_by; what thrusts make of the new shapes
        turned(along, length, down, held, axial, shapes, after)
        for a in range(m):
            for b in range(m):
                s = t = 0.0
                for n in range(count):
                    for i in range(6):
                        s += shapes[n, i, a] * turned_by[n, i, b]
                        t += shapes[n, i, a] * after[n, i, b]
                stiff[a, b], soft[a, b] = s, t
        if not np.isfinite(stiff.sum() + soft.sum()):
            shares[:] = np.inf
            energy[:] = 1.0 / count
            return
        _ritz(stiff, soft, shapes, after, turned_by, shares)
    energies(along, length, down, thick, modulus, shapes, energy)
    for c in range(m):
        total = max(energy[:, c].sum(), 1e-300)
        for n in range(count):
            energy[n, c] /= total


@kernel
def _ritz(stiff, soft, shapes, after, turned_by, shares):
    """Mix shapes (n, 6, m) so that each is by itself in both (m, m), each of unit stiffness, the greatest share first; `turned_by`
    becomes what thrusts make of them, out of `after`, what they made of the old ones.
    """
    m = stiff.shape[0]
    scale = np.empty(m)
    for a in range(m):
        scale[a] = 1.0 / np.sqrt(max(stiff[a, a], 1e-300))
    for a in range(m):
        for b in range(m):
            stiff[a, b] *= scale[a] * scale[b]
            soft[a, b] *= scale[a] * scale[b]
    stiff[:] = 0.5 * (stiff + stiff.T)
    soft[:] = 0.5 * (soft + soft.T)
    sizes, base = np.linalg.eigh(stiff)
    half = np.zeros((m, m))
    for a in range(m):
        # directions that are all but the same as others count for nothing
        f = 1.0 / np.sqrt(sizes[a]) if sizes[a] > 1e-10 * sizes[m - 1] else 0.0
        for b in range(m):
            half[b, a] = base[b, a] * f
    values, mix = np.linalg.eigh(half.T @ soft @ half)
    whole = half @ mix
    old = shapes.copy()
    shapes[:] = 0.0
    turned_by[:] = 0.0
    for a in range(m):
        shares[a] = values[m - 1 - a]
        for b in range(m):
            f = scale[b] * whole[b, m - 1 - a]
            for n in range(shapes.shape[0]):
                for i in range(6):
                    shapes[n, i, a] += old[n, i, b] * f
                    turned_by[n, i, a] += after[n, i, b] * f
