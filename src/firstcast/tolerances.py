"""Every tolerance in one place, with the reason for its size beside it."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Tolerances:
    """Lengths in mm unless the name says otherwise."""

    zero_push_pitches: float = 1e-3
    """Field values nearer to zero than this share of a pitch are pushed away from it, so that no contour
    vertex falls on a lattice point, where edges shared by more than two triangles would arise."""

    band_pitches: float = 3.0
    """Half-width of the near field. Wider costs time steeply (8 pitches: six times 3)."""

    field_pitches: float = 0.2
    """How far fuse's surface may lie from the exact union away from creases, in pitches: 5 µm at 0.025 mm, the
    limit that its tests hold it to. The error budget and the proof's limit take it from here."""

    thin_pitches: float = 2.0
    """What is thinner than this many pitches is cut by sampling and must be reported."""

    reduce_pixels: float = 0.25
    """Default tolerance of reduce, in printer pixels: a quarter pixel changes the grey of an edge
    pixel by at most a quarter, below what the layer image shows."""

    rules_differ_watch: float = 0.01
    """Two scale rules that differ by more than this ratio: the maker should look."""

    rules_differ_stop: float = 0.05
    """Two scale rules that differ by more than this ratio: one of them is wrong."""

    size_least_mm: float = 5.0
    """Below this a figure is surely a slip of units."""

    size_most_mm: float = 400.0
    """Above this a figure is surely a slip of units."""

    weld_ratio: float = 1e-7
    """Vertices nearer than this share of the part's diagonal are one vertex: about float32's resolution."""

    acceptance_lapse_ratio: float = 0.1
    """An accepted finding counts again when its measure worsens by more than this ratio."""

    memory_share: float = 0.7
    """A job may plan on this share of the machine's memory; the rest is the system's."""


TOLERANCES = Tolerances()
