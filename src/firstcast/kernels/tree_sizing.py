"""Sections of a tree of posts that bear its loads with as little resin as it takes: thicker and thinner, round by round.

Three things ask for thickness, as in `printing.posts`: stress, each run as a column by itself, the tree giving way as a whole.
Stress gives each part a least section. What a part gives to a way of buckling goes down with the square of its section; least
resin under several such ways is where section³ is a sum of the parts' energies per resin, each way with a factor of its own
(the usual optimality criteria; the factors are found one after another, several times over).
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.part_columns import column
from firstcast.kernels.tree_frames import TIP, along_of, factor, forces, solve, sway

MODES = 4
SWEEPS, CLOSE = 3, 1.003
"""The factors of ways of buckling are found so often one after another; to within this."""

SNUG = 0.999
"""Of its limit so much of a way's energy is aimed for: a weight is good that leaves up to the limit, and no less than its square of it."""

FIRST_ROUNDS, MORE_ROUNDS = 8, 2
"""Rounds in which ways of buckling are found: anew, and from those of a tree that is much alike."""
WIDEST, NARROWEST, CALMER, BOLDER = 0.5, 0.01, 0.5, 1.15
"""By how much a section changes from round to round at most, as a logarithm: less after it has turned round, more while it goes on."""

AIM, ALL_OVER = 0.997, 0.998
"""Parts are sized for this use, and all of them are as much thicker as keeps to that: what `posts` then finds stays under 1."""


@kernel(makes_arrays=False)
def thick_of(radii, necks, down, thick):
    """Write diameters of members (n,): a tip's is that of half its way, as in `posts`."""
    for n in range(down.shape[0]):
        if down[n] < 0:
            thick[n] = 1.0
        elif necks[n] > 0.0:
            thick[n] = 0.5 * (necks[n] + 2.0 * radii[down[n]])
        else:
            thick[n] = 2.0 * radii[n]


@kernel
def runs_of_tree(down, run, last):
    """Write which run (n,) each member belongs to, from a tip or joint down to the next joint or the end; how many there are.

    `last` (runs,) is the node that each ends in.
    """
    count = down.shape[0]
    above = np.zeros(count, np.int64)
    for n in range(count):
        if down[n] >= 0:
            above[down[n]] += 1
    number = 0
    run[:] = -1
    for n in range(count):
        if down[n] < 0 or above[n] == 1:
            continue
        node = n
        while True:
            run[node] = number
            node = down[node]
            if down[node] < 0 or above[node] != 1:
                break
        last[number] = node
        number += 1
    return number


@kernel(makes_arrays=False)
def _left_over(weight, k, third, resin, low, high, energy):
    """What is left of a way's energy if it has a weight, and all others together ask for `third` (n,) as sections cubed."""
    total = 0.0
    for n in range(resin.shape[0]):
        mine = energy[n, k]
        if mine > 0.0:
            f = np.cbrt(max(third[n] + weight * mine / resin[n], 0.0))
            total += mine / max(low[n], min(high[n], f)) ** 2
    return total


@kernel(makes_arrays=False)
def _weight(first, k, third, resin, low, high, energy, limit):
    """The least weight, but for a little, that leaves no more of a way's energy than its limit; the greatest if none does.

    By secants of logarithms, for it falls about with a power of the weight, -2/3 where no bound is in the way; by halves where
    those lead out of what is known.
    """
    scale = 0.0
    for n in range(resin.shape[0]):
        scale = max(scale, energy[n, k] / resin[n])
    lowest, highest = 1e-4 / scale, 1e6 / scale
    weight = first if lowest < first < highest else np.sqrt(lowest * highest)
    slope, before, was = -2.0 / 3.0, 0.0, 0.0
    while highest > CLOSE * lowest:
        over = np.log(_left_over(weight, k, third, resin, low, high, energy) / (SNUG * limit))
        if over > -np.log(SNUG):
            lowest = weight
        else:
            highest = weight
            if over > np.log(SNUG):
                break
        here = np.log(weight)
        if before != 0.0 and (over - was) * (here - before) < 0.0:
            slope = (over - was) / (here - before)
        before, was = here, over
        weight = np.exp(min(max(here - over / slope, -700.0), 700.0))
        if not lowest < weight < highest:
            weight = np.sqrt(lowest * highest)
    return highest


@kernel
def _fit(resin, low, high, energy, limits, ways, factors, sections):
    """Write the factors (n,) by which sections change: least resin, so that energy / factor² sums to no more than each limit.

    resin (n,); energy (n, ways); low, high (n,) bounds of each factor; factors (ways,) is each way's weight, found here.
    """
    count = resin.shape[0]
    third = np.zeros(count)
    for n in range(count):
        sections[n] = low[n]
    for _ in range(SWEEPS):
        changed = False
        for k in range(ways):
            mine = factors[k]
            for n in range(count):
                third[n] -= mine * energy[n, k] / resin[n]
            new = 0.0
            if _left_over(0.0, k, third, resin, low, high, energy) > limits[k]:
                new = _weight(mine, k, third, resin, low, high, energy, limits[k])
            if abs(new - mine) > (CLOSE - 1.0) * max(new, mine):
                changed = True
            factors[k] = new
            for n in range(count):
                third[n] += new * energy[n, k] / resin[n]
        if not changed:
            break
    for n in range(count):
        sections[n] = max(low[n], min(high[n], np.cbrt(max(third[n], 0.0))))


@kernel(makes_arrays=False)
def _stresses(down, necks, thick, length, axial, bending, bears_mpa, resin, stress, pressed):
    """Write each member's resin, its use by stress and what presses it most; returns the resin of all and the greatest use of a part."""
    price = worst = 0.0
    for n in range(down.shape[0]):
        if down[n] < 0:
            continue
        section = np.pi / 4.0 * thick[n] ** 2
        resin[n] = section * length[n]
        price += resin[n]
        stress[n] = pressed[n] = 0.0
        for c in range(axial.shape[1]):
            pressed[n] = max(pressed[n], abs(axial[n, c]))
            stress[n] = max(
                stress[n], abs(axial[n, c]) / section + bending[n, c] / (np.pi * thick[n] ** 3 / 32.0)
            )
        stress[n] /= bears_mpa
        if necks[n] == 0.0:
            worst = max(worst, stress[n])
    return price, worst


@kernel(makes_arrays=False)
def _as_a_whole(shares, modes, safety, limits, energy):
    """Write the limit of each way in which the tree buckles, and what each member gives to it; returns the greatest use."""
    worst = 0.0
    for k in range(MODES):
        use = shares[k] * safety
        worst = max(worst, use)
        limits[k] = AIM / max(use, 1e-9)
        for n in range(modes.shape[0]):
            energy[n, k] = max(modes[n, k], 0.0)
    return worst


@kernel
def _column_use(number, run, thick, length, pressed, held, modulus, safety, scratch, energy):
    """How much a run is used as a column by itself; what each of its members gives to that goes to energy (n,).

    `scratch` (3, n): lengths, widths and energies of the run's parts side by side.
    """
    parts, most = 0, 0.0
    for n in range(run.shape[0]):
        if run[n] == number:
            scratch[0, parts], scratch[1, parts] = length[n], thick[n]
            most = max(most, pressed[n])
            parts += 1
    bears = column(scratch[0], scratch[1], parts, held, modulus, scratch[2])
    parts = 0
    for n in range(run.shape[0]):
        if run[n] == number:
            energy[n] = scratch[2, parts]
            parts += 1
    return most / bears * safety


@kernel(makes_arrays=False)
def _bounds(down, necks, radii, least, room, stress, step, resin, low, high):
    """Write between which factors (n,) each section may change in this round."""
    for n in range(down.shape[0]):
        if down[n] < 0 or necks[n] > 0.0:
            low[n] = high[n] = 1.0
            resin[n] = max(resin[n], 1e-12) if down[n] >= 0 else 1.0
            continue
        floor = (least[n] / radii[n]) ** 2
        roof = max((room[n] / radii[n]) ** 2, floor)
        asked = max(stress[n] / AIM, 1e-9)
        asked = asked if asked > 1.0 else asked ** (2.0 / 3.0)
        low[n] = min(max(asked, max(floor, np.exp(-step[n]))), max(min(roof, np.exp(step[n])), floor))
        high[n] = max(min(roof, np.exp(step[n])), low[n])


@kernel(makes_arrays=False)
def _change(down, necks, sections, radii, step, last_way):
    """Change radii (n,) by their sections' factors, and how far each may go in the next round."""
    for n in range(down.shape[0]):
        if down[n] >= 0 and necks[n] == 0.0:
            radii[n] *= np.sqrt(sections[n])
            way = np.log(sections[n])
            if way * last_way[n] < 0.0:
                step[n] = max(step[n] * CALMER, NARROWEST)
            elif way * last_way[n] > 0.0:
                step[n] = min(step[n] * BOLDER, WIDEST)
            last_way[n] = way


@kernel
def size_tree(
    places,
    down,
    held,
    necks,
    least,
    room,
    loads,
    together,
    modulus,
    bears_mpa,
    safety,
    rounds,
    radii,
    shapes,
    best,
    uses,
):
    """Radii of a tree's parts that bear its loads with little resin; returns its resin in mm3 without its foot.

    Parameters
    ----------
    places (n, 3), down (n,) : float64, int64
        From the tips down: each node before the one that it goes down to; the last is the foot.
    held : (n,) int64
    necks : (n,) float64
        Diameter of a tip's neck; 0 elsewhere.
    least, room : (n,) float64
        Bounds of the radii.
    loads : (n, 6, cases) float64
    together : (n, 6, 1) float64
        All tips pressing, for the tree as a whole.
    bears_mpa : float
        Strength over the factor of safety.
    radii : (n,) float64
        To begin with; changed.
    shapes : (n, 6, MODES) float64
        Ways of buckling of a tree that is much alike, or zeros; changed.
    best : (n,) float64
        Written: the radii with the least resin of those that bear, or those that come nearest.
    uses : (3,) float64
        Written: greatest use by stress, by a run's buckling, as a whole, of `best`.
    """
    count, cases = places.shape[0], loads.shape[2]
    along, length = np.zeros((count, 3)), np.zeros(count)
    along_of(places, down, along, length)
    run, last = np.empty(count, np.int64), np.empty(count, np.int64)
    runs = runs_of_tree(down, run, last)
    thick, inverse, passed = np.empty(count), np.empty((count, 6, 6)), np.empty((count, 6, 6))
    moved, one = np.empty_like(loads), np.empty_like(together)
    axial, bending = np.empty((count, cases)), np.empty((count, cases))
    thrust, bent = np.empty((count, 1)), np.empty((count, 1))
    shares, modes = np.empty(MODES), np.empty((count, MODES))
    fresh = (shapes[:, :, 0] == 0.0).all()
    if fresh:
        _begin(shapes, held)
    energy, limits = np.zeros((count, MODES + runs)), np.empty(MODES + runs)
    stress, pressed, resin = np.zeros(count), np.zeros(count), np.zeros(count)
    low, high, sections = np.empty(count), np.empty(count), np.empty(count)
    weights = np.zeros(MODES + runs)
    room_for_run = np.empty((3, count))
    step, last_way = np.full(count, WIDEST), np.zeros(count)
    least_value = np.inf
    for round_ in range(rounds):
        thick_of(radii, necks, down, thick)
        factor(along, length, down, held, thick, modulus, inverse, passed)
        moved[:] = loads
        solve(down, inverse, passed, moved)
        forces(along, length, down, thick, modulus, moved, axial, bending)
        one[:] = together
        solve(down, inverse, passed, one)
        forces(along, length, down, thick, modulus, one, thrust, bent)
        sway(
            along, length, down, held, thick, modulus, thrust[:, 0].copy(), inverse, passed, shapes,
            FIRST_ROUNDS if fresh and round_ == 0 else MORE_ROUNDS, shares, modes,
        )  # fmt: skip
        energy[:] = 0.0
        price, worst_stress = _stresses(
            down, necks, thick, length, axial, bending, bears_mpa, resin, stress, pressed
        )
        worst_whole = _as_a_whole(shares, modes, safety, limits, energy)
        worst_run = 0.0
        for r in range(runs):
            use = _column_use(
                r,
                run,
                thick,
                length,
                pressed,
                down[last[r]] < 0,
                modulus,
                safety,
                room_for_run,
                energy[:, MODES + r],
            )
            worst_run = max(worst_run, use)
            limits[MODES + r] = AIM / max(use, 1e-9)
        # as thick all over as the worst asks for: forces stay as they are
        thicker = max(
            max(1.0, worst_stress / ALL_OVER) ** (2.0 / 3.0),
            np.sqrt(max(1.0, max(worst_run, worst_whole) / ALL_OVER)),
        )
        value = price * thicker
        for n in range(count):
            if necks[n] == 0.0 and down[n] >= 0 and radii[n] >= 0.999 * room[n] and stress[n] > 1.003:
                value *= stress[n] ** 2
        if value < least_value:
            least_value = value
            for n in range(count):
                best[n] = radii[n]
                if necks[n] == 0.0 and down[n] >= 0:
                    best[n] = max(min(radii[n] * np.sqrt(thicker), room[n]), radii[n])
            uses[0], uses[1], uses[2] = worst_stress, worst_run, worst_whole
        if round_ == rounds - 1:
            break
        _bounds(down, necks, radii, least, room, stress, step, resin, low, high)
        _fit(resin, low, high, energy, limits, MODES + runs, weights, sections)
        _change(down, necks, sections, radii, step, last_way)
    return least_value


@kernel
def _begin(shapes, held):
    """Shapes to begin with: all unlike one another, none at rest where it might move."""
    count, m = shapes.shape[0], shapes.shape[2]
    state = np.uint64(88172645463325252)
    for n in range(count):
        for i in range(6):
            for a in range(m):
                # George Marsaglia's xorshift
                state ^= state << np.uint64(13)
                state ^= state >> np.uint64(7)
                state ^= state << np.uint64(17)
                shapes[n, i, a] = np.float64(state >> np.uint64(11)) / 9007199254740992.0 - 0.5
        if held[n] == TIP:
            shapes[n, :2] = 0.0
        elif held[n] == 2:
            shapes[n] = 0.0
