"""Clay: shapes added and carved one after another, grain laid on, then meshed near the surface."""

import numpy as np
from field_loops import BLOCK, GRAIN_COLUMNS, SHAPE_COLUMNS, distances, fill_field, settle
from surfaces import contour, spline, unit, without_bubbles

ADD, CARVE, WITHIN = 0, 1, 2


def frame(axis, across=None):
    """Rows of an orthonormal frame whose third row is `axis` and whose first leans to `across`."""
    w = unit(axis)
    hint = np.array([1.0, 0.0, 0.0]) if across is None else np.asarray(across, float)
    if np.linalg.norm(np.cross(hint, w)) < 1e-3:
        hint = np.array([0.0, 1.0, 0.0])
    u = unit(hint - w * (hint @ w))
    return np.array([u, np.cross(w, u), w])


class Clay:
    """One part in the making. Lengths are in the sculptor's own units."""

    def __init__(self):
        self.shapes: list[np.ndarray] = []
        self.boxes: list[np.ndarray] = []
        self.grains: list[np.ndarray] = []
        self.floor = -1e6
        """Below this height all is cut off flat."""

    def _put(self, kind, centre, rows, parameters, operation, blend, factor, low, high):
        row = np.zeros(SHAPE_COLUMNS)
        row[:4] = kind, operation, blend, factor
        row[4:7] = centre
        row[7:16] = np.asarray(rows).ravel()
        row[16 : 16 + len(parameters)] = parameters
        self.shapes.append(row)
        if operation == ADD:
            self.boxes.append(np.array([low, high]))
        return self

    def ball(self, centre, radii, *, axis=(0, 0, 1), across=None, op=ADD, blend=0.0):
        """An ellipsoid; `radii` along the frame's rows, the third along `axis`."""
        radii = np.broadcast_to(np.asarray(radii, float), 3)
        centre, reach = np.asarray(centre, float), radii.max()
        return self._put(
            0, centre, frame(axis, across), radii, op, blend, 1.0, centre - reach, centre + reach
        )

    def cone(self, start, end, first, second, *, op=ADD, blend=0.0, flat=1.0, across=None):
        """A round cone between two balls; `flat` below 1 thins it along the frame's first row."""
        start, end = np.asarray(start, float), np.asarray(end, float)
        long = max(np.linalg.norm(end - start), 1e-6)
        rows = frame(end - start, across)
        rows[0] = rows[0] / flat
        reach = max(first, second)
        low, high = np.minimum(start, end) - reach, np.maximum(start, end) + reach
        return self._put(1, start, rows, (first, second, long), op, blend, min(flat, 1.0), low, high)

    def limb(self, points, radii, *, steps=10, op=ADD, blend=0.0, flat=1.0, across=None):
        """A chain of round cones along a curve through `points`."""
        path = spline(points, steps * (len(points) - 1) + 1)
        radius = spline(np.asarray(radii, float)[:, None], len(path))[:, 0]
        for k in range(len(path) - 1):
            soft = blend if k == 0 or op == CARVE else min(blend, 0.5 * radius[k])
            self.cone(
                path[k], path[k + 1], radius[k], radius[k + 1], op=op, blend=soft, flat=flat, across=across
            )
        return self

    def box(self, centre, half, *, rounding=0.03, axis=(0, 0, 1), across=None, op=ADD, blend=0.0):
        """A rounded box."""
        centre, half = np.asarray(centre, float), np.asarray(half, float)
        reach = np.linalg.norm(half)
        parameters = (*half, rounding)
        return self._put(
            2, centre, frame(axis, across), parameters, op, blend, 1.0, centre - reach, centre + reach
        )

    def ring(self, centre, radius, thick, *, axis=(0, 0, 1), op=ADD, blend=0.0, stretch=1.0, across=None):
        """A ring about `axis`; `stretch` lengthens it along the frame's first row."""
        centre, reach = np.asarray(centre, float), radius * max(stretch, 1.0) + thick
        rows = frame(axis, across)
        rows[0] = rows[0] / stretch
        factor = 1.0 if stretch >= 1.0 else stretch
        return self._put(3, centre, rows, (radius, thick), op, blend, factor, centre - reach, centre + reach)

    def drum(self, centre, low, high, half, *, rounding=0.02, axis=(0, 0, 1), op=ADD, blend=0.0, stretch=1.0):
        """A frustum about `axis` with radii `low` and `high`; `stretch` widens it along the first row."""
        centre = np.asarray(centre, float)
        reach = np.hypot(max(low, high) * max(stretch, 1.0), half)
        rows = frame(axis)
        rows[0] = rows[0] / stretch
        parameters = (low, high, half, rounding)
        return self._put(4, centre, rows, parameters, op, blend, 1.0, centre - reach, centre + reach)

    def cut(self, point, outward, *, blend=0.0):
        """Take away everything on the side of a plane that `outward` points to."""
        return self._put(5, point, frame(outward), (), WITHIN, blend, 1.0, point, point)

    def grain(
        self,
        kind,
        height,
        scale,
        *,
        centre=(0, 0, 0),
        reach=0.0,
        axis=(0, 0, 1),
        across=None,
        sharp=4.0,
        offset=0.0,
    ):
        """Fine relief: 0 lumps, 1 fibres, 2 ripples, 3 scutes, 4 scales. `scale` divides along the frame's rows."""
        row = np.zeros(GRAIN_COLUMNS)
        row[:6] = kind, height, *np.asarray(centre, float), reach
        row[6:15] = (frame(axis, across) / np.asarray(scale, float)[:, None]).ravel()
        row[15:17] = sharp, offset
        self.grains.append(row)
        return self

    def stacked(self):
        """The shapes as one array of rows."""
        return np.ascontiguousarray(np.array(self.shapes))

    def settle(self, points, rounds=8):
        """`points` moved onto the bare surface, and its normals there."""
        points = np.array(points, float, order="C")
        normals = np.zeros_like(points)
        settle(self.stacked(), points, normals, rounds, 0.01)
        return points, normals

    def distance(self, points):
        """Signed distance of each point to the bare shapes."""
        out = np.empty(len(points))
        distances(self.stacked(), np.ascontiguousarray(points, float), out)
        return out

    def bounds(self):
        """Least and greatest corner of what was added."""
        boxes = np.array(self.boxes)
        return boxes[:, 0].min(axis=0), boxes[:, 1].max(axis=0)

    def mesh(self, pitch, *, low=None, high=None):
        """(points, triangles) of the surface at `pitch`; `low` and `high` may narrow the box."""
        grains = np.array(self.grains).reshape(-1, GRAIN_COLUMNS)
        relief = 1.2 * sum(abs(grains[:, 1]))
        least, most = self.bounds()
        least = least if low is None else np.maximum(least, low)
        most = most if high is None else np.minimum(most, high)
        origin = np.ascontiguousarray(least - relief - 3.0 * pitch)
        cells = np.ceil((most + relief + 3.0 * pitch - origin) / pitch).astype(int) + 1
        out = np.empty(tuple(-(-cells // BLOCK) * BLOCK), np.float32)
        fill_field(self.stacked(), grains, origin, pitch, relief, self.floor, out)
        return without_bubbles(*contour(out, origin, pitch))
