"""Unbranched runs of posts: from a tip or a joint where several meet down to the next such joint, or the end."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firstcast.printing.ways import HEAD, JOINT, Ways

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Runs:
    """Runs of posts.

    Attributes
    ----------
    nodes : list of (k,) int64
        From the top down: the nodes from which the parts of each run go down.
    lengths_mm : list of (k,) float64
        Of these parts.
    number : (nodes,) int64
        Which run the part from each node belongs to; -1 where nothing goes down.
    """

    nodes: list[npt.NDArray[np.int64]]
    lengths_mm: list[Floats]
    number: npt.NDArray[np.int64]

    def spread(self, figures: Floats) -> Floats:
        """(nodes,) each run's figure (runs,) at all of its nodes; 0 where nothing goes down."""
        return np.append(figures, 0.0)[self.number]


def runs_of(ways: Ways, places: Floats) -> Runs:
    """All runs of a forest. A tip is a part of its run: it buckles with its post.

    Parameters
    ----------
    places : (nodes, 3) float64
        Of the nodes, in mm.
    """
    above = np.zeros(len(places), np.int64)
    for below in ways.down:
        if below >= 0:
            above[below] += 1

    def within(node: int) -> bool:
        return ways.kinds[node] in (HEAD, JOINT) and above[node] == 1

    nodes: list[npt.NDArray[np.int64]] = []
    lengths: list[Floats] = []
    number = np.full(len(places), -1, np.int64)
    for start, below in enumerate(ways.down):
        if below < 0 or within(start):
            continue
        run = [start]
        while within(below) and ways.down[below] >= 0:
            run.append(below)
            below = ways.down[below]
        rows = np.array(run, np.int64)
        number[rows] = len(nodes)
        nodes.append(rows)
        lengths.append(np.linalg.norm(places[rows] - places[[ways.down[node] for node in run]], axis=1))
    return Runs(nodes, lengths, number)
