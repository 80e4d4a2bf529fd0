"""The tables of the job file that belong to no station, as pydantic models."""

import math
import typing
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from firstcast.geometry.pieces import JointWanted, Side
from firstcast.geometry.zones import Ball, Box, Outline, Zone
from firstcast.vocabulary import ZoneMeaning

Place = tuple[float, float, float]


LONGEST_NAME_BYTES = 200
"""File systems take 255 bytes in a name; the rest is for suffixes and what is put around it."""

DEVICE_NAMES = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(1, 10))}
"""Names that Windows keeps for devices, whatever their suffix."""


def _word(text: str) -> str:
    if not text.strip():
        raise ValueError("it is empty. Give a word.")
    if text != text.strip():
        raise ValueError("it has spaces around it. Leave them away.")
    if any(not c.isprintable() for c in text):
        raise ValueError("it has letters that can't be printed. Leave them away.")
    return text


def _file_word(text: str) -> str:
    """Names that become file names, on any system: no separators, no dot at the ends, not too long."""
    _word(text)
    if any(c in '/\\:*?"<>|' for c in text) or text[0] == "." or text[-1] == ".":
        raise ValueError('it becomes a file name. Leave / \\ : * ? " < > | and dots at its ends away.')
    if len(text.encode()) > LONGEST_NAME_BYTES:
        raise ValueError(f"it becomes a file name. Shorten it to {LONGEST_NAME_BYTES} bytes.")
    if is_device(text):
        raise ValueError("it becomes a file name, which some systems keep for a device. Change the name.")
    return text


def is_device(name: str) -> bool:
    """Whether a file of this name would be a device on Windows."""
    return name.partition(".")[0].strip().casefold() in DEVICE_NAMES


def _path(text: str) -> str:
    if not text.strip() or "\0" in text:
        raise ValueError("it is no path. Name a folder.")
    return text


Word = Annotated[str, AfterValidator(_word)]
PartWord = Annotated[str, Field(min_length=1)]
PathWord = Annotated[str, AfterValidator(_path)]
FileWord = Annotated[str, AfterValidator(_file_word)]


class Table(BaseModel):
    """Base of the tables: frozen, no unknown keys, no NaN or infinity."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class JobTable(Table):
    """[job]: what is made, and how many castings are wanted."""

    name: FileWord
    note: str = ""
    wanted: int = Field(default=1, ge=1, le=1_000_000)


class FoldersTable(Table):
    """[folders]: where the maker's files are. Only what is named here may lie outside the job's folder."""

    parts: PathWord


def _way(toward: Place) -> Place:
    if not any(toward):
        raise ValueError("it has no direction. Give three numbers that are not all 0.")
    return toward


Way = Annotated[Place, AfterValidator(_way)]


class KeepTable(Table):
    """A piece's keep: the side of a plane of which the piece is cast."""

    place_mm: Place
    toward: Way


class PieceTable(Table):
    """[[piece]]: what is cast as one."""

    name: FileWord
    parts: tuple[PartWord, ...] = Field(min_length=1)
    keep: KeepTable | None = None

    def side(self) -> Side | None:
        """The side that is kept, as the stations know it."""
        return None if self.keep is None else Side(self.keep.place_mm, self.keep.toward)


class JointTable(Table):
    """[[joint]]: a peg or key of one piece in a socket of another."""

    name: Word
    peg: Word
    socket: Word
    kind: Literal["peg", "key"] = "peg"
    place_mm: Place | None = None
    toward: Way | None = None
    width_mm: float | None = Field(default=None, gt=0, le=50)
    length_mm: float | None = Field(default=None, gt=0, le=50)
    depth_mm: float | None = Field(default=None, gt=0, le=50)
    turn_deg: float = Field(default=0.0, ge=-180, le=180)
    play_mm: float | None = Field(default=None, ge=0, le=2)

    @model_validator(mode="after")
    def _placed(self) -> "JointTable":
        if self.peg == self.socket:
            raise ValueError("peg and socket name the same piece. Name two.")
        if (self.place_mm is None) != (self.toward is None):
            raise ValueError(
                "place_mm and toward go together. Give both, or neither where the pieces are cut."
            )
        if self.kind == "peg" and self.length_mm is not None:
            raise ValueError('a round peg has no length_mm. Give width_mm alone, or kind = "key".')
        if self.kind == "key" and (self.length_mm is None) != (self.width_mm is None):
            raise ValueError("a key's width_mm and length_mm go together. Give both, or neither.")
        return self

    def wanted(self) -> JointWanted:
        """The joint as the stations know it."""
        return JointWanted(**dict(self))


class BallTable(Table):
    """A zone's ball."""

    centre_mm: Place
    radius_mm: float = Field(gt=0)


class BoxTable(Table):
    """A zone's box."""

    low_mm: Place
    high_mm: Place

    @model_validator(mode="after")
    def _in_order(self) -> "BoxTable":
        if any(low > high for low, high in zip(self.low_mm, self.high_mm, strict=True)):
            raise ValueError("low_mm is above high_mm. Exchange what is not in order.")
        return self


class OutlineTable(Table):
    """A zone's outline."""

    axis: Literal["x", "y", "z"]
    spots_mm: tuple[tuple[float, float], ...] = Field(min_length=3)
    from_mm: float | None = None
    to_mm: float | None = None

    @model_validator(mode="after")
    def _in_order(self) -> "OutlineTable":
        if self.from_mm is not None and self.to_mm is not None and self.from_mm > self.to_mm:
            raise ValueError("from_mm is above to_mm. Exchange them.")
        return self


class ZoneTable(Table):
    """[[zone]]: a place by part, ball, box or outline, with what it means."""

    name: Word
    meaning: ZoneMeaning
    part: PartWord | None = None
    ball: BallTable | None = None
    box: BoxTable | None = None
    outline: OutlineTable | None = None

    @model_validator(mode="after")
    def _placed(self) -> "ZoneTable":
        shapes = [shape for shape in (self.ball, self.box, self.outline) if shape is not None]
        if len(shapes) > 1:
            raise ValueError(
                "it has several shapes. Give one of ball, box and outline; write a [[zone]] for each."
            )
        if not shapes and self.part is None:
            raise ValueError("it has no place. Give a part, ball, box or outline.")
        return self

    def zone(self) -> Zone:
        """The zone as the stations know it."""
        shape: Any = None
        if self.ball:
            shape = Ball(self.ball.centre_mm, self.ball.radius_mm)
        elif self.box:
            shape = Box(self.box.low_mm, self.box.high_mm)
        elif self.outline:
            low = -math.inf if self.outline.from_mm is None else self.outline.from_mm
            high = math.inf if self.outline.to_mm is None else self.outline.to_mm
            shape = Outline(self.outline.axis, self.outline.spots_mm, low, high)
        return Zone(self.name, self.meaning, self.part, shape)


class AcceptTable(Table):
    """[[accept]]: a finding that the maker accepts, and why."""

    id: Word
    reason: Word
    measured: float | None = None


class MendTable(Table):
    """[[mend]]: proposed changes that the maker wants made, and why: of a finding, of a part's, or all."""

    id: Word | None = None
    part: Word | None = None
    all: bool = False
    reason: Word

    @model_validator(mode="after")
    def _of_one_kind(self) -> "MendTable":
        if (self.id is not None) + (self.part is not None) + self.all != 1:
            raise ValueError(
                "it must say what is to be mended, in one way. Give the id of a finding, a part, or all = true."
            )
        return self


class JobTables(Table):
    """The job file without the stations' tables."""

    job: JobTable
    folders: FoldersTable
    piece: tuple[PieceTable, ...] = Field(min_length=1)
    joint: tuple[JointTable, ...] = ()
    zone: tuple[ZoneTable, ...] = ()
    accept: tuple[AcceptTable, ...] = ()
    mend: tuple[MendTable, ...] = ()


OWN_TABLES = tuple(JobTables.model_fields)
LISTED_TABLES = tuple(
    name for name, field in JobTables.model_fields.items() if typing.get_origin(field.annotation) is tuple
)
"""Those that stand in double brackets, once per entry."""
