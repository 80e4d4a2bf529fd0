"""The proof of masters from which something was taken, and to which something was added: cuts, sockets, pegs."""

from dataclasses import replace

import manifold3d
import numpy as np
import pytest

from firstcast.geometry.mesh import Mesh
from firstcast.io.write import write_3mf, write_stl
from firstcast.proof import Expected, PartShape, prove_piece
from firstcast.vocabulary import Verdict

SAMPLES = 20_000
MATRIX = np.diag([1.004, 1.006, 1.009])


def block(size, at):
    return manifold3d.Manifold.cube(size, True).translate(at)


def made():
    """Body, cut, socket and peg: made anew each time, for manifold3d tells of solids that outlive it."""
    body = (block((8, 8, 8), (0, 0, 0)), block((6, 6, 10), (0.5, 0.3, 0.0)))
    cut = block((20, 20, 10), (0, 0, -7))  # all below z = -2
    socket = block((2, 2, 3), (0, 0, -1.5))  # up to z = 0
    peg = block((1, 1, 3), (2.5, 0, -2.5))  # from -4, beyond the cut, to -1
    return body, cut, socket, peg


def whole():
    body, cut, socket, peg = made()
    return (body[0] + body[1]) - cut - socket + peg


def arrays(solid):
    mesh = solid.to_mesh64()
    return np.asarray(mesh.vert_properties)[:, :3], np.asarray(mesh.tri_verts).astype(np.int32)


def shape(name, solid, role):
    points, triangles = arrays(solid)
    return PartShape(name, points[triangles], role=role)


def expected():
    solid = whole()
    body, cut, socket, peg = made()
    points, _ = arrays(solid)
    return Expected(
        name="half",
        extents_mm=tuple(np.ptp(points @ MATRIX.T, axis=0)),
        matrix=MATRIX,
        tolerance_mm=0.008,
        pitch_mm=0.03,
        parts=(
            shape("body", body[0], "sculpted"), shape("collar", body[1], "sculpted"), shape("cut", cut, "taken"),
            shape("neck socket", socket, "taken"), shape("neck peg", peg, "added"),
        ),
        volume_mm3=solid.volume() * float(np.linalg.det(MATRIX)),
    )  # fmt: skip


def prove(folder, solid, wanted=None):
    points, triangles = arrays(solid)
    master = Mesh((points @ MATRIX.T).astype(np.float32), triangles)
    write_stl(folder / "m.stl", master)
    write_3mf(folder / "m.3mf", {"half": master})
    return prove_piece(folder / "m.stl", folder / "m.3mf", wanted or expected(), samples=SAMPLES)


def row(proof, start):
    return next(r for r in proof.rows if r.check.startswith(start))


def test_a_cut_piece_with_socket_and_peg_is_proved_as_a_whole(tmp_path):
    proof = prove(tmp_path, whole())
    assert proof.verdict is Verdict.SOUND, [r for r in proof.rows if r.verdict is not Verdict.SOUND]
    assert row(proof, "surface proved").measured == pytest.approx(100.0, abs=1e-6)
    assert row(proof, "parts to master: greatest, smooth").measured < 1.0


FAULTS = {
    "no socket": lambda body, cut, socket, peg: body - cut + peg,
    "no peg": lambda body, cut, socket, peg: body - cut - socket,
    "not cut": lambda body, cut, socket, peg: body - socket + peg,
    "a socket 0.1 mm too narrow": lambda body, cut, socket, peg: (
        body - cut - socket.scale((0.95, 1, 1)) + peg
    ),
    "a peg 0.1 mm short": lambda body, cut, socket, peg: (
        body - cut - socket + peg.trim_by_plane((0, 0, 1), -3.9)
    ),
    "a socket under a skin": lambda body, cut, socket, peg: (
        body - cut - socket.trim_by_plane((0, 0, 1), -1.9) + peg
    ),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_what_is_missing_or_too_much_is_caught(tmp_path, fault):
    body, cut, socket, peg = made()
    proof = prove(tmp_path, FAULTS[fault](body[0] + body[1], cut, socket, peg))
    stops = {r.check for r in proof.rows if r.verdict is Verdict.STOP}
    assert any(
        "master to parts" in check or "parts to master" in check or "proved" in check for check in stops
    )


def filled_and_bedded():
    """A body with a fill in its corner, and a bed that goes through both."""
    body = block((8, 8, 8), (0, 0, 0)) - block((2, 8.1, 2), (3.01, 0, 3.01))
    fill = block((2.2, 8, 1.2), (2.9, 0, 2.5))
    bed = block((1.5, 3, 3), (3.5, 0, 3.0))
    return body, fill, bed


@pytest.mark.parametrize("bed_through_fill", [True, False])
def test_a_bed_goes_through_a_fill_that_was_made_before_it(tmp_path, bed_through_fill):
    body, fill, bed = filled_and_bedded()
    solid = (body + fill) - bed
    points, _ = arrays(solid)
    wanted = replace(
        expected(),
        extents_mm=tuple(np.ptp(points @ MATRIX.T, axis=0)),
        parts=(shape("body", body, "sculpted"), shape("fill", fill, "added"), shape("bed", bed, "taken")),
        volume_mm3=solid.volume() * float(np.linalg.det(MATRIX)),
    )
    proof = prove(tmp_path, solid if bed_through_fill else (body - bed) + fill, wanted)
    stops = [r for r in proof.rows if r.verdict is Verdict.STOP and " master" in f" {r.check}"]
    assert (not stops) == bed_through_fill, stops
