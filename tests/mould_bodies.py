"""Bodies whose locked mould material is known in closed form."""

import numpy as np
from manifold3d import CrossSection, Manifold

from firstcast.geometry.body import Body
from firstcast.geometry.mesh import Mesh

ASIDE_MM = (0.071, 0.033, 0.057)
"""Bodies stand so far aside that their faces don't lie on lattice planes: which side of them is counted would be chance."""

ROUND = 192
"""Segments of a circle: its area is 0.02 % short."""


def mesh_of(solid: Manifold) -> Mesh:
    raw = solid.translate(ASIDE_MM).to_mesh()
    return Mesh(
        np.array(raw.vert_properties[:, :3], np.float64), np.array(raw.tri_verts, np.int32).reshape(-1, 3)
    )


def body_of(solid: Manifold, name: str = "figure") -> Body:
    mesh = mesh_of(solid)
    return Body(mesh, np.zeros(len(mesh.triangles), np.uint16), (name,))


def cylinder(radius: float, low: float, high: float) -> Manifold:
    return Manifold.cylinder(high - low, radius, radius, ROUND).translate((0.0, 0.0, low))


def torus(ring: float, tube: float) -> Manifold:
    """About z."""
    return CrossSection.circle(tube, ROUND).translate((ring, 0.0)).revolve(ROUND)


def torus_locks_mm3(ring: float, tube: float) -> float:
    """Pulled in its plane: lines through the hole, less the tube's own half that bounds it.

    Across a line at height z the hole is a disc of radius ρ = ring - √(tube² - z²); all of it is locked, and beside it only
    what lies between the tube's inner flank and itself, which is nothing. So ∫ π ρ² dz over |z| < tube.
    """
    return np.pi * (2 * tube * ring**2 - np.pi * ring * tube**2 + 4 * tube**3 / 3)


def mushroom(stem: float = 2.0, cap: float = 5.0, height: float = 4.0, plate: float = 6.0) -> Manifold:
    """A plate, a stem and a cap on it, upright: pulled along z, π (cap² - stem²) height is locked under the cap."""
    return (
        cylinder(plate, -2.0, 0.0) + cylinder(stem, -1.0, height + 1.0) + cylinder(cap, height, height + 1.5)
    )


def socket(ball: float = 5.0, mouth: float = 2.0) -> Manifold:
    """A block with a hollow ball that opens upward by a mouth in the block's face: 4π/3 (ball² - mouth²)^1.5 is locked.

    Lines nearer to the axis than the mouth see out; of each other all of the ball's chord is locked (a ball with a hole bored
    through: what is left depends on its height alone).
    """
    top = float(np.sqrt(ball**2 - mouth**2))
    block = Manifold.cube((2 * ball + 4, 2 * ball + 4, ball + 2 + top), True).translate(
        (0.0, 0.0, (top - ball - 2) / 2)
    )
    return block - Manifold.sphere(ball, ROUND)


def dovetail(mouth: float = 2.0, root: float = 5.0, deep: float = 3.0, long: float = 10.0) -> Manifold:
    """A block with a dovetail groove along y in its top face: (root - mouth) deep long / 2 is locked."""
    profile = CrossSection([[(-mouth / 2, 0.0), (-root / 2, -deep), (root / 2, -deep), (mouth / 2, 0.0)]])
    groove = profile.extrude(long + 2).rotate((90.0, 0.0, 0.0)).translate((0.0, long / 2 + 1, 0.0))
    return Manifold.cube((root + 4, long, deep + 2), True).translate((0.0, 0.0, -(deep + 2) / 2)) - groove


def staircase(steps: int = 5, tread: float = 2.0, wide: float = 6.0) -> Manifold:
    """Steps as high as they are deep, down along +x; pulled down the slope, steps - 1 notches of tread² / 2 are locked."""
    spots = [(0.0, 0.0)]
    for n in range(steps):
        spots += [((steps - n) * tread, n * tread), ((steps - n) * tread, (n + 1) * tread)]
    spots += [(0.0, steps * tread)]
    return CrossSection([spots]).extrude(wide).rotate((90.0, 0.0, 0.0))


def drilled_plate(lean: float = 0.0) -> Manifold:
    """A plate of 4 mm across z with a hole of 1.5 mm radius, that leans towards x by `lean` mm per mm."""
    plate = Manifold.cube((24.0, 16.0, 4.0), True)
    drill = cylinder(1.5, -6.0, 6.0)
    matrix = np.array([[1.0, 0.0, lean, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0]])
    return plate - drill.transform(matrix)
