"""The reduce station: the tolerance it takes, the error budget it prints, the finding it can give."""

import numpy as np
import pytest
import trimesh

from firstcast.errors import InputError
from firstcast.geometry.crossings import crossing_pairs
from firstcast.geometry.mesh import Mesh
from firstcast.process.limits import Limits
from firstcast.ranges import Range
from firstcast.stations.reduce import Settings, reduce
from firstcast.vocabulary import ProcessKind, Verdict
from part_shapes import joined

LIMITS = Limits(
    ProcessKind.TWO_PART_BLOCK, (0.034, 0.034), 0.03, (0.03, 0.03, 0.025), 0.0085,
    Range(0.3, 0.5, 0.8), Range(0.2, 0.3, 0.5),
)  # fmt: skip


def ball(offset=0.0) -> Mesh:
    shape = trimesh.creation.icosphere(subdivisions=5, radius=3.0)
    return Mesh(
        (shape.vertices + np.array([40.0 + offset, 0.0, 3.0])).astype(np.float32),
        shape.faces.astype(np.int32),
    )


def reduced(mesh, **settings):
    return reduce(piece="figure", mesh=mesh, limits=LIMITS, settings=Settings(**settings))


def measure(result, name) -> float:
    (found,) = [m.value for m in result.measures if m.name == name]
    return found


def test_the_tolerance_is_plans_unless_the_job_says_another():
    by_plan, finer = reduced(ball()), reduced(ball(), tolerance_mm=0.002)
    assert 0.005 < max(by_plan.there_mm, by_plan.back_mm) <= 0.0085
    assert 0.001 < max(finer.there_mm, finer.back_mm) <= 0.002
    assert 1000 < len(by_plan.mesh.triangles) < 2500 < len(finer.mesh.triangles)


def test_the_error_budget():
    result = reduced(ball())
    assert measure(result, "triangles") == len(result.mesh.triangles)
    assert measure(result, "reduce") == max(result.there_mm, result.back_mm)
    assert measure(result, "field") == pytest.approx(0.2 * 0.03)
    # x reaches 43 mm, where float32 steps by 2^-18; y and z reach 3 and 6: 2^-22 and 2^-21
    step = np.linalg.norm([2.0**-18, 2.0**-22, 2.0**-21]) / 2
    assert measure(result, "float32 writing") == pytest.approx(step, rel=1e-6)
    parts = sum(measure(result, name) for name in ("reduce", "field", "float32 writing"))
    assert measure(result, "sum") == pytest.approx(parts)
    assert not result.findings


def test_crossings_of_the_dense_mesh_stop_the_line():
    result = reduced(joined(ball(), ball(4.0)))
    assert {finding.code for finding in result.findings} == {"crossing-left"}
    assert {finding.verdict for finding in result.findings} == {Verdict.STOP}
    assert len(result.findings) == 20
    # two balls of radius 3, 4 apart, cross in a circle of radius sqrt(5) halfway
    place = np.array([finding.place_mm for finding in result.findings])
    np.testing.assert_allclose(place[:, 0], 42.0, atol=0.3)
    np.testing.assert_allclose(np.hypot(place[:, 1], place[:, 2] - 3.0), 5.0**0.5, atol=0.3)
    assert len(crossing_pairs(result.mesh)) >= 20


def test_an_open_mesh_is_refused():
    open_ball = ball()
    with pytest.raises(InputError, match="open"):
        reduced(Mesh(open_ball.points, open_ball.triangles[2:]))
