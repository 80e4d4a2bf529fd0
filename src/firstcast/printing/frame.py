"""A frame of round beams under loads: one sparse solve for all load cases.

Straight Euler-Bernoulli members in space, stiff joints (the stiffness of a space frame's member, any textbook of matrix
structural analysis). Deflections are small against the members.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import linalg, sparse
from scipy.sparse.linalg import splu

from firstcast.errors import InputError

Floats = npt.NDArray[np.float64]

SHEAR_RATIO = 2.7
"""Young's modulus over shear modulus, 2 (1 + ν), at a Poisson's ratio of 0.35, usual for such polymers (from memory)."""


@dataclass(frozen=True)
class Solved:
    """What a frame does under its load cases.

    Attributes
    ----------
    moved : (nodes, 6, cases) float64
        Shifts in mm and turns in rad.
    axial_n : (members, cases) float64
        Above zero pulled.
    bending_nmm : (members, 2, cases) float64
        Size of the bending moment at both ends.
    """

    moved: Floats
    axial_n: Floats
    bending_nmm: Floats


def solve_frame(
    places_mm: Floats,
    members: npt.NDArray[np.int64],
    diameters_mm: Floats,
    modulus_mpa: float,
    held: npt.NDArray[np.bool_],
    loads: Floats,
) -> Solved:
    """Shifts and forces of a frame.

    Parameters
    ----------
    places_mm : (nodes, 3) float64
    members : (m, 2) int64
        First and second node.
    diameters_mm : (m,) float64
    held : (nodes, 6) bool
        Shifts along x, y, z and turns about them that are held.
    loads : (nodes, 6, cases) float64
        Forces in N and moments in N mm.

    Raises
    ------
    InputError
        A member has no length, or something can move without resistance.
    """
    ends = places_mm[members]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    if not (length > 1e-9).all() or not (diameters_mm > 0.0).all():
        raise InputError("a member without length or thickness", where="frame", mend="Leave it out.")
    turn = _turns(ends, length)
    own = _stiffness(length, diameters_mm, modulus_mpa)
    world = turn.transpose(0, 2, 1) @ own @ turn
    dofs = (6 * members[:, :, None] + np.arange(6)).reshape(-1, 12)
    size = 6 * len(places_mm)
    rows = np.repeat(dofs, 12, axis=1).ravel()
    columns = np.tile(dofs, (1, 12)).ravel()
    whole = sparse.csc_matrix((world.ravel(), (rows, columns)), shape=(size, size))
    free = np.flatnonzero(~held.ravel())
    cases = loads.shape[2]
    moved = np.zeros((size, cases))
    if len(free):
        try:
            solver = splu(whole[free][:, free], permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        except RuntimeError as error:
            raise InputError(
                "a part of the frame is held by nothing", where="frame", mend="Hold it."
            ) from error
        moved[free] = solver.solve(loads.reshape(size, cases)[free])
    forces = own @ turn @ moved[dofs]
    bending = np.hypot(forces[:, [4, 10]], forces[:, [5, 11]])
    return Solved(moved.reshape(-1, 6, cases), forces[:, 6], bending)


def buckling_share(
    places_mm: Floats,
    members: npt.NDArray[np.int64],
    diameters_mm: Floats,
    modulus_mpa: float,
    held: npt.NDArray[np.bool_],
    axial_n: Floats,
) -> float:
    """The share of the load that makes a frame buckle that its thrusts are, 1 where it does: see `buckling_modes`."""
    shares, _ = buckling_modes(places_mm, members, diameters_mm, modulus_mpa, held, axial_n, most=1)
    return max(0.0, float(shares[0])) if len(shares) else 0.0


def buckling_modes(
    places_mm: Floats,
    members: npt.NDArray[np.int64],
    diameters_mm: Floats,
    modulus_mpa: float,
    held: npt.NDArray[np.bool_],
    axial_n: Floats,
    *,
    most: int,
) -> tuple[Floats, Floats]:
    """The ways in which a frame buckles first, and how much each member has to do with them.

    Thrusts turn members away from straight (the geometric stiffness of a beam with cubic shapes, any textbook of finite
    elements); the greatest eigenvalues against the frame's own stiffness. Members that bow between their ends must be cut in
    two at least: an even column of two comes out within 1 %.

    Parameters
    ----------
    places_mm, members, diameters_mm, modulus_mpa, held
        As for `solve_frame`.
    axial_n : (m,) float64
        Above zero pulled.
    most : int
        So many ways.

    Returns
    -------
    (k,) float64
        The share that the thrusts are of those that make it buckle so, the greatest first.
    (m, k) float64
        Share of each member in the energy that bends the frame so: each way's sum is 1.
    """
    ends = places_mm[members]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    turn = _turns(ends, length)
    dofs = (6 * members[:, :, None] + np.arange(6)).reshape(-1, 12)
    size = 6 * len(places_mm)
    free = np.flatnonzero(~held.ravel())
    if not len(free):
        return np.zeros(0), np.zeros((len(members), 0))
    both, worlds = [], []
    for own in (_stiffness(length, diameters_mm, modulus_mpa), _turning(length, -axial_n)):
        whole = np.zeros((size, size))
        worlds.append(turn.transpose(0, 2, 1) @ own @ turn)
        np.add.at(whole, (dofs[:, :, None], dofs[:, None, :]), worlds[-1])
        both.append(whole[np.ix_(free, free)])
    last = len(free) - 1
    shares, ways = linalg.eigh(both[1], both[0], subset_by_index=[max(0, last - most + 1), last])
    moved = np.zeros((size, len(shares)))
    moved[free] = ways
    bent = moved[dofs]
    energy = np.einsum("mik,mij,mjk->mk", bent, worlds[0], bent)
    return shares[::-1], energy[:, ::-1]


def _turning(length: Floats, pressed: Floats) -> Floats:
    """(m, 12, 12) what thrusts take from the stiffness of members, in their own axes."""
    out = np.zeros((len(length), 12, 12))
    per = pressed / length
    for shift, turn, sign in ((1, 5, 1.0), (2, 4, -1.0)):
        arm = sign * pressed / 10.0
        pairs = {
            (shift, shift): 1.2 * per, (shift, shift + 6): -1.2 * per, (shift + 6, shift + 6): 1.2 * per,
            (shift, turn): arm, (shift, turn + 6): arm, (turn, shift + 6): -arm, (shift + 6, turn + 6): -arm,
            (turn, turn): 2.0 * pressed * length / 15.0, (turn, turn + 6): -pressed * length / 30.0,
            (turn + 6, turn + 6): 2.0 * pressed * length / 15.0,
        }  # fmt: skip
        for (i, j), figure in pairs.items():
            out[:, i, j] = out[:, j, i] = figure
    return out


def _turns(ends: Floats, length: Floats) -> Floats:
    """(m, 12, 12) from the world's axes to each member's, its own x along it."""
    along = (ends[:, 1] - ends[:, 0]) / length[:, None]
    side = np.where(np.abs(along[:, 2:]) < 0.9, np.array([0.0, 0.0, 1.0]), np.array([1.0, 0.0, 0.0]))
    across = np.cross(side, along)
    across /= np.linalg.norm(across, axis=1)[:, None]
    axes = np.stack([along, across, np.cross(along, across)], axis=1)
    out = np.zeros((len(ends), 12, 12))
    for block in range(4):
        out[:, 3 * block : 3 * block + 3, 3 * block : 3 * block + 3] = axes
    return out


def _stiffness(length: Floats, diameters: Floats, modulus: float) -> Floats:
    """(m, 12, 12) of round members in their own axes."""
    area, second = np.pi * diameters**2 / 4.0, np.pi * diameters**4 / 64.0
    pull, twist = modulus * area / length, modulus / SHEAR_RATIO * 2.0 * second / length
    bend = modulus * second / length**3
    out = np.zeros((len(length), 12, 12))
    for i, stiff in ((0, pull), (3, twist)):
        out[:, i, i] = out[:, i + 6, i + 6] = stiff
        out[:, i, i + 6] = out[:, i + 6, i] = -stiff
    # bending across y turns about z, across z about y the other way round
    for shift, turn, sign in ((1, 5, 1.0), (2, 4, -1.0)):
        pairs = {
            (shift, shift): 12.0 * bend, (shift, shift + 6): -12.0 * bend, (shift + 6, shift + 6): 12.0 * bend,
            (shift, turn): sign * 6.0 * bend * length, (shift, turn + 6): sign * 6.0 * bend * length,
            (turn, shift + 6): -sign * 6.0 * bend * length, (shift + 6, turn + 6): -sign * 6.0 * bend * length,
            (turn, turn): 4.0 * bend * length**2, (turn, turn + 6): 2.0 * bend * length**2,
            (turn + 6, turn + 6): 4.0 * bend * length**2,
        }  # fmt: skip
        for (i, j), stiff in pairs.items():
            out[:, i, j] = out[:, j, i] = stiff
    return out
