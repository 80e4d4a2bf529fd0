"""The ball that grows from a place and touches one triangle: the innermost loop of walls and gaps.

Coordinates go in and out one by one, so that they stay in registers.
"""

import numpy as np

from firstcast.kernels.compiling import kernel
from firstcast.kernels.nearest import nearest_place

ROUNDS = 40
"""Most steps to the ball that touches a triangle: each about doubles the digits, and eight were the most seen."""

SAME = 1e-9
"""Radii that differ by less than this share are one: float64 leaves six digits below it on a body of a metre."""

BESIDE = 1e-6
"""A triangle lies beside the cone that p looks through if it is off by more than this share of its way from p; rounding is less."""


@kernel(makes_arrays=False)
def ball_through(px, py, pz, dx, dy, dz, x, y, z):
    """Radius of the ball that is tangent at p, its middle along d, and passes through x, y, z; inf if that lies behind."""
    wx, wy, wz = x - px, y - py, z - pz
    along = wx * dx + wy * dy + wz * dz
    return (wx * wx + wy * wy + wz * wz) / (2.0 * along) if along > 0.0 else np.inf


@kernel(makes_arrays=False)
def plane_radius(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, radius):
    """Radius of the ball from p that touches a triangle's plane: none that touches the triangle is smaller.

    `radius` where there is no plane, or p lies on it.
    """
    ux, uy, uz = bx - ax, by - ay, bz - az
    vx, vy, vz = cx - ax, cy - ay, cz - az
    nx, ny, nz = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
    height = nx * (ax - px) + ny * (ay - py) + nz * (az - pz)
    along = nx * dx + ny * dy + nz * dz
    if height < 0.0:
        height, along = -height, -along
    divisor = np.sqrt(nx * nx + ny * ny + nz * nz) + along
    # a place on the plane itself would start from a ball of no size, of which nothing can be told
    return height / divisor if height > 1e-6 * radius * divisor and divisor > 0.0 else radius


@kernel(makes_arrays=False)
def beside_cone(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, cosine, sine):
    """Whether a triangle lies wholly beside the cone round d from p: in the half space that touches the cone on its side."""
    ax, ay, az, bx, by, bz, cx, cy, cz = (
        ax - px, ay - py, az - pz, bx - px, by - py, bz - pz, cx - px, cy - py, cz - pz,
    )  # fmt: skip
    mx, my, mz = ax + bx + cx, ay + by + cy, az + bz + cz
    ahead = mx * dx + my * dy + mz * dz
    ex, ey, ez = mx - ahead * dx, my - ahead * dy, mz - ahead * dz
    length = np.sqrt(ex * ex + ey * ey + ez * ez)
    # the half space: along its normal, square to d and cosine to sine between, nothing of the cone reaches beyond 0
    ex, ey, ez = (
        cosine * ex - sine * length * dx,
        cosine * ey - sine * length * dy,
        cosine * ez - sine * length * dz,
    )
    least = min(ax * ex + ay * ey + az * ez, bx * ex + by * ey + bz * ez, cx * ex + cy * ey + cz * ez)
    return least > BESIDE * length * np.sqrt(mx * mx + my * my + mz * mz)


@kernel(makes_arrays=False)
def touch(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, radius):
    """Radius at which the ball touches a triangle, and that place; inf if it is not below `radius`.

    Step for step the ball through the triangle's place nearest to the last ball's middle: Newton's steps for the
    least of a ratio (W. Dinkelbach, On nonlinear fractional programming, 1967), from any start; from the second on
    the radii fall. The start is the ball that touches the plane, which is the answer where it touches inside.
    """
    x = y = z = 0.0
    now = plane_radius(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz, radius)
    if now > radius:
        return np.inf, x, y, z
    for step in range(ROUNDS):
        away2, x, y, z = nearest_place(
            px + now * dx, py + now * dy, pz + now * dz, ax, ay, az, bx, by, bz, cx, cy, cz
        )
        if away2 >= now * now * (1.0 - SAME) and (step > 0 or now == radius):
            break
        found = ball_through(px, py, pz, dx, dy, dz, x, y, z)
        if found == np.inf:
            found = radius
        if step > 0 and found >= now * (1.0 - SAME):
            break
        now = found
    return (now if now < radius else np.inf), x, y, z
