"""What every test of the intake station asks of its result."""

import numpy as np

from firstcast.geometry.mesh import Mesh, measure_solid
from firstcast.geometry.shells import count_open_and_shared
from firstcast.stations.intake import Intaken, Settings, intake
from firstcast.vocabulary import ShellKind, Verdict

CLOSED, CAPPED, SHEET = ShellKind.CLOSED, ShellKind.CAPPED, ShellKind.SHEET


def taken(mesh: Mesh, factor_mm: float = 1.0, **choices) -> Intaken:
    return intake(name="torso", mesh=mesh, matrix_mm=factor_mm * np.eye(3), settings=Settings(**choices))


def kinds(result: Intaken) -> list[ShellKind]:
    return [shell.kind for shell in result.part.shells]


def counts(result: Intaken) -> dict[str, int]:
    return {measure.name: int(measure.value) for measure in result.measures if measure.value}


def codes(result: Intaken) -> dict[str, Verdict]:
    return {finding.code: finding.verdict for finding in result.findings}


def check_part(result: Intaken) -> None:
    """The promises to later stations: sorted shells, two-manifold, closed and outward unless a sheet."""
    mesh, shells = result.part.mesh, result.part.shells
    assert [s.start for s in shells] == [0, *(s.stop for s in shells[:-1])]
    assert shells[-1].stop == len(mesh.triangles) == result.summary.triangle_count
    assert mesh.triangles.dtype == np.int32
    assert mesh.triangles.flags.c_contiguous
    assert len(np.unique(mesh.triangles)) == len(mesh.points)
    assert count_open_and_shared(mesh.triangles, len(mesh.points))[1] == 0
    for shell in shells:
        rows = np.ascontiguousarray(mesh.triangles[shell.start : shell.stop])
        directed = rows[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
        assert len(np.unique(directed, axis=0)) == len(directed), "an edge is run twice one way"
        if shell.kind is SHEET:
            assert shell.thickness > 0
        else:
            assert shell.thickness == 0
            assert count_open_and_shared(rows, len(mesh.points)) == (0, 0)
            assert measure_solid(Mesh(mesh.points, rows)).volume > 0
