"""Compiled loops of the drape: cloth as points and lengths, falling on the clay in a fixed order."""

import math

import numba

kernel = numba.njit(cache=True, nogil=True, error_model="numpy")


@kernel
def _sample(field, origin, pitch, x, y, z):
    u = (x - origin[0]) / pitch
    v = (y - origin[1]) / pitch
    w = (z - origin[2]) / pitch
    nx, ny, nz = field.shape
    if u < 0.0 or v < 0.0 or w < 0.0 or u >= nx - 1 or v >= ny - 1 or w >= nz - 1:
        return 1.0
    i = int(u)
    j = int(v)
    k = int(w)
    u -= i
    v -= j
    w -= k
    low = (field[i, j, k] * (1 - u) + field[i + 1, j, k] * u) * (1 - v)
    low += (field[i, j + 1, k] * (1 - u) + field[i + 1, j + 1, k] * u) * v
    high = (field[i, j, k + 1] * (1 - u) + field[i + 1, j, k + 1] * u) * (1 - v)
    high += (field[i, j + 1, k + 1] * (1 - u) + field[i + 1, j + 1, k + 1] * u) * v
    return low * (1 - w) + high * w


@kernel
def _pull(points, held, a, b, c, d, length, stiffness, push):
    """Bring two points to `length`; where `push` is 0 they are only drawn together."""
    x = points[c, d, 0] - points[a, b, 0]
    y = points[c, d, 1] - points[a, b, 1]
    z = points[c, d, 2] - points[a, b, 2]
    now = math.sqrt(x * x + y * y + z * z)
    weight = held[a, b] + held[c, d]
    if now < 1e-9 or weight == 0.0:
        return
    off = (now - length) / now
    if off < 0.0:
        off *= push
    off *= stiffness / weight
    first = off * held[a, b]
    second = off * held[c, d]
    points[a, b, 0] += first * x
    points[a, b, 1] += first * y
    points[a, b, 2] += first * z
    points[c, d, 0] -= second * x
    points[c, d, 1] -= second * y
    points[c, d, 2] -= second * z


@kernel
def _keep_out(points, before, held, field, origin, pitch, gap, grip):
    rows, columns, _ = points.shape
    e = 0.5 * pitch
    for r in range(rows):
        for c in range(columns):
            if held[r, c] == 0.0:
                continue
            x = points[r, c, 0]
            y = points[r, c, 1]
            z = points[r, c, 2]
            d = _sample(field, origin, pitch, x, y, z) - gap
            if d >= 0.0:
                continue
            gx = _sample(field, origin, pitch, x + e, y, z) - _sample(field, origin, pitch, x - e, y, z)
            gy = _sample(field, origin, pitch, x, y + e, z) - _sample(field, origin, pitch, x, y - e, z)
            gz = _sample(field, origin, pitch, x, y, z + e) - _sample(field, origin, pitch, x, y, z - e)
            long = math.sqrt(gx * gx + gy * gy + gz * gz)
            if long < 1e-9:
                continue
            gx /= long
            gy /= long
            gz /= long
            x -= d * gx
            y -= d * gy
            z -= d * gz
            mx = x - before[r, c, 0]
            my = y - before[r, c, 1]
            mz = z - before[r, c, 2]
            out = mx * gx + my * gy + mz * gz
            points[r, c, 0] = x - grip * (mx - out * gx)
            points[r, c, 1] = y - grip * (my - out * gy)
            points[r, c, 2] = z - grip * (mz - out * gz)


@kernel
def drape(
    points,
    held,
    across,
    down,
    slant,
    field,
    origin,
    pitch,
    steps,
    rounds,
    gravity,
    wind,
    gap,
    grip,
    bend,
    damping,
):
    """Let the cloth fall, in place.

    `points` (rows, columns, 3); `held` 0 where pinned, else 1; rest lengths `across` (rows, columns - 1),
    `down` (rows - 1, columns), `slant` (rows - 1, columns - 1).
    """
    rows, columns, _ = points.shape
    before = points.copy()
    for step in range(steps):
        gust = 1.0 + 0.25 * math.sin(0.05 * step)
        for r in range(rows):
            for c in range(columns):
                if held[r, c] == 0.0:
                    continue
                for a in range(3):
                    now = points[r, c, a]
                    speed = (now - before[r, c, a]) * damping
                    pull = wind[a] * gust * r / rows
                    if a == 2:
                        pull -= gravity
                    before[r, c, a] = now
                    points[r, c, a] = now + speed + pull
        for turn in range(rounds):
            for r in range(rows):
                for c in range(columns):
                    if c + 1 < columns:
                        _pull(points, held, r, c, r, c + 1, across[r, c], 0.9, 0.9)
                    if r + 1 < rows:
                        _pull(points, held, r, c, r + 1, c, down[r, c], 1.0, 0.9)
                    if r + 1 < rows and c + 1 < columns:
                        _pull(points, held, r, c, r + 1, c + 1, slant[r, c], 0.25, 0.5)
                        _pull(points, held, r, c + 1, r + 1, c, slant[r, c], 0.25, 0.5)
                    if c + 2 < columns:
                        _pull(points, held, r, c, r, c + 2, across[r, c] + across[r, c + 1], bend, 1.0)
                    if c + 4 < columns:
                        wide = across[r, c] + across[r, c + 1] + across[r, c + 2] + across[r, c + 3]
                        _pull(points, held, r, c, r, c + 4, wide, 0.1 * bend, 1.0)
                    if r + 2 < rows:
                        _pull(points, held, r, c, r + 2, c, down[r, c] + down[r + 1, c], 0.6 * bend, 1.0)
            if turn % 2 == 1 or turn == rounds - 1:
                _keep_out(points, before, held, field, origin, pitch, gap, grip)
