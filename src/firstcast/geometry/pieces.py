"""A piece: what is cast as one, and the parts it is fused from."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Piece:
    """A piece's name and its parts' names, in the order of the job file."""

    name: str
    parts: tuple[str, ...]
