"""Two blocks that meet at z = 0, and the process that they go through."""

from dataclasses import replace

import numpy as np

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh
from firstcast.geometry.pieces import JointWanted, Piece, Side
from firstcast.geometry.solids import box, from_manifold
from firstcast.process import kinds
from firstcast.process.extent_spread import in_figure_axes
from firstcast.process.shrink import chain_matrix
from firstcast.stations.fit import Settings, fit
from firstcast.stations.plan_settings import Settings as Process
from firstcast.stations.plan_settings import chain_of, limits_of, materials_of

MAKER = dict.fromkeys(kinds.STAGES, "maker")

KNOWN = {
    "printer": {"blur_mm": 0.03},
    "resin": {
        "depth_mm": {"low": 0.09, "likely": 0.1, "high": 0.11},
        "cure_depth_mm": {"low": 0.11, "likely": 0.12, "high": 0.13},
        "shrink_xy_ratio": {"low": 0.004, "likely": 0.005, "high": 0.006},
        "shrink_z_ratio": {"low": 0.002, "likely": 0.003, "high": 0.004},
    },
}
"""Figures as a gauge leaves them."""


class Shop:
    """A process, and what fit takes from the stations before it."""

    def __init__(self, turn=None, **given):
        settings = Process(**({"kind": "two-part-block"} | given))
        self.materials = materials_of(settings)
        self.limits = limits_of(settings, self.materials)
        self.chain = chain_of(settings, self.materials, self.limits)
        self.steps = kinds.size_steps(settings.kind, self.materials, (), MAKER)
        self.turn = np.eye(3) if turn is None else np.asarray(turn, float)
        self.matrix = chain_matrix(in_figure_axes(self.steps, self.turn))

    def fit(self, below, above, *joints, settings=None, keeps=True, turns=None):
        """Fit of a piece 'low' below z = 0 and 'high' above it."""
        side = Side((0.0, 0.0, 0.0), (0.0, 0.0, -1.0))
        other = replace(side, toward=(0.0, 0.0, 1.0))
        turns = turns or (self.turn, self.turn)
        matrices = tuple(chain_matrix(in_figure_axes(self.steps, turn)) for turn in turns)
        return fit(
            joints=joints or (joint(),),
            pieces=(
                Piece("low", ("a",), side if keeps else None),
                Piece("high", ("b",), other if keeps else None),
            ),
            bodies=(body_of(below), body_of(above)),
            matrices=matrices,
            turns=turns,
            chain=self.chain,
            size_steps=self.steps,
            limits=self.limits,
            settings=settings or Settings(),
        )


def joint(**given) -> JointWanted:
    return JointWanted(**({"name": "waist", "peg": "low", "socket": "high"} | given))


def blocks(wide=6.0, deep=6.0, high=5.0):
    """A block below and one above the plane z = 0."""
    low = box((wide, deep, high), at_mm=(0, 0, -high / 2))
    return low, low.translate((0.0, 0.0, high))


def body_of(solid) -> Body:
    mesh = from_manifold(solid)
    mesh = Mesh(mesh.points.astype(np.float32), mesh.triangles)
    return Body(mesh, np.zeros(len(mesh.triangles), np.uint16), ("part",))


def codes(result):
    return [finding.code for finding in result.findings]
