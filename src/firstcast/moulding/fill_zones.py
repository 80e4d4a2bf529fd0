"""Zones that no fill may touch, on the mould's voxels."""

from collections.abc import Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt

from firstcast.geometry.zones import Zone
from firstcast.kernels.locked import BODY
from firstcast.moulding.fill_window import Mask, Window
from firstcast.moulding.reading import Read
from firstcast.vocabulary import ZoneMeaning


class ClosedZones:
    """The zones with the meaning `no change`, and the `precious` ones that are not released, to be asked on windows."""

    def __init__(self, read: Read, zones: Sequence[Zone], released: Sequence[str]) -> None:
        self._read = read
        self._zones = tuple(
            zone
            for zone in zones
            if zone.meaning is ZoneMeaning.NO_CHANGE
            or (zone.meaning is ZoneMeaning.PRECIOUS and zone.name not in released)
        )

    def voxels(self, window: Window) -> Mask:
        """(a, b, c) bool: voxels of a window that no fill may take."""
        closed = np.zeros(window.held.states.shape, np.bool_)
        if self._zones:
            rows = np.argwhere(window.held.states != BODY)
            for zone in self._zones:
                closed[tuple(rows[self._inside(zone, window, rows)].T)] = True
        return closed

    def why(self, window: Window) -> str:
        """Why a place that can't be filled can't be: which zones it reaches into; "" if into none."""
        rows = np.argwhere(window.mine)
        reached = [zone for zone in self._zones if self._inside(zone, window, rows).any()]
        if not reached:
            return ""
        names = " and ".join(f"'{zone.name}'" for zone in reached)
        lets = all(zone.meaning is ZoneMeaning.PRECIOUS for zone in reached)
        return f"its fill would reach into the zone {names}" + (
            "; name it in [mould] release and it may" if lets else ""
        )

    def _inside(self, zone: Zone, window: Window, rows: npt.NDArray[np.integer]) -> npt.NDArray[np.bool_]:
        numbers = self._part_of_voxel[window.slices][tuple(rows.T)]
        return zone.contains(
            window.held.places_mm(rows), part_of_point=numbers, part_names=self._read.parts.names
        )

    @cached_property
    def _part_of_voxel(self) -> npt.NDArray[np.int32]:
        """The part that each voxel of the grid lies beside: asked of one in eight, the others are at most a voxel away from it."""
        shape = self._read.held.states.shape
        some = np.argwhere(np.ones([(n + 1) // 2 for n in shape], np.bool_))
        numbers = self._read.parts.numbers_beside(self._read.held.places_mm(2 * some))
        numbers = numbers.astype(np.int32).reshape([(n + 1) // 2 for n in shape])
        for axis, count in enumerate(shape):
            numbers = np.repeat(numbers, 2, axis=axis).take(range(count), axis=axis)
        return numbers
