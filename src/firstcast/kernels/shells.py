"""Measures of shells, one pass over their triangles."""

import numpy as np

from firstcast.kernels.compiling import kernel


@kernel
def measure_shells(points, triangles, shell, shell_count, origin):
    """Area, signed volume and bounds of each shell.

    Parameters
    ----------
    points, triangles, shell : (n, 3) float64, (m, 3) int32, (m,) int32
    shell_count : int
    origin : (3,) float64
        Volumes are summed about it; near the shells few digits are lost.

    Returns
    -------
    area, volume : (s,) float64
        Volume is meant for closed shells; positive if wound outward.
    low, high : (s, 3) float64
    """
    area, volume = np.empty(shell_count), np.empty(shell_count)
    low, high = np.empty((shell_count, 3)), np.empty((shell_count, 3))
    for s in range(shell_count):
        area[s], volume[s] = 0.0, 0.0
        for d in range(3):
            low[s, d], high[s, d] = np.inf, -np.inf
    corner = np.empty((3, 3))
    for t in range(len(triangles)):
        s = shell[t]
        for k in range(3):
            for d in range(3):
                value = points[triangles[t, k], d]
                low[s, d] = min(low[s, d], value)
                high[s, d] = max(high[s, d], value)
                corner[k, d] = value - origin[d]
        ux, uy, uz = corner[1, 0] - corner[0, 0], corner[1, 1] - corner[0, 1], corner[1, 2] - corner[0, 2]
        vx, vy, vz = corner[2, 0] - corner[0, 0], corner[2, 1] - corner[0, 1], corner[2, 2] - corner[0, 2]
        x, y, z = uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx
        area[s] += 0.5 * np.sqrt(x * x + y * y + z * z)
        volume[s] += (corner[0, 0] * x + corner[0, 1] * y + corner[0, 2] * z) / 6.0
    return area, volume, low, high
