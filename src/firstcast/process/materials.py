"""The classes of printers, resins, moulds, casting materials and paints, as frozen records.

The records are read from `process/data/*.toml`. Each figure is a `Range` that says where it comes
from; the maker's data sheet or gauge overrides it. Classes only, no products.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from functools import cache
from typing import TYPE_CHECKING, Any, TypeVar

from firstcast.errors import InputError
from firstcast.process.figures import figure_from, nearest_word, override_figure, read_data
from firstcast.ranges import Range

if TYPE_CHECKING:
    from _typeshed import DataclassInstance


UNKNOWN = "unknown"
FRONTS = (UNKNOWN, "first row", "last row", "first column", "last column")
"""Edges of the layers' images, before any mirroring: rows run with the platform's y, columns with its x."""


@dataclass(frozen=True)
class Printer:
    """A class of vat photopolymerization printers that draw layers as images.

    `front` is the edge of the images that lies at the printer's front, one of `FRONTS`: unknown for a class.
    """

    key: str
    title: str
    pixel_x_mm: Range
    pixel_y_mm: Range
    layer_mm: Range
    build_x_mm: Range
    build_y_mm: Range
    build_z_mm: Range
    blur_mm: Range
    irradiance_mw_cm2: Range
    separation_stress_kpa: Range
    front: str = UNKNOWN

    def __post_init__(self) -> None:
        if self.front not in FRONTS:
            raise InputError(
                f"'{self.front}' is no edge of the images",
                where="front of the printer",
                mend=f"Give one of {FRONTS}.",
            )


@dataclass(frozen=True)
class Resin:
    """A class of photopolymers. `depth_mm` is Dp and `critical_mj_cm2` Ec of the working curve.

    `cure_depth_mm` is the depth that a layer's exposure is set to reach. Green figures hold for the
    print as it leaves the vat, the others after post-cure.
    """

    key: str
    title: str
    inhibits_addition_cure: bool
    depth_mm: Range
    critical_mj_cm2: Range
    cure_depth_mm: Range
    shrink_xy_ratio: Range
    shrink_z_ratio: Range
    density_g_cm3: Range
    modulus_mpa: Range
    strength_mpa: Range
    green_modulus_mpa: Range
    green_strength_mpa: Range
    elongation_ratio: Range
    heat_deflection_degC: Range


@dataclass(frozen=True)
class Mould:
    """A class of mould materials.

    `chemistry` is addition, condensation, vulcanised, metal or none. `running_degC` is how warm the
    mould is while it is cast in. `uneven_pressure_ratio` is the share of the curing pressure that bears on
    one face of a thin part only. Density, surface tension and contact angle are of the rubber while it
    takes the master's shape, the angle on the master.
    """

    key: str
    title: str
    chemistry: str
    shore_a: Range
    modulus_mpa: Range
    elongation_ratio: Range
    tear_kn_m: Range
    shrink_ratio: Range
    expansion_per_degC: Range
    density_g_cm3: Range
    surface_tension_n_m: Range
    contact_angle_deg: Range
    cure_degC: Range
    cure_pressure_mpa: Range
    uneven_pressure_ratio: Range
    running_degC: Range
    pulls: Range
    wall_mm: Range
    parting_opening_mm: Range


@dataclass(frozen=True)
class Casting:
    """A class of casting materials.

    `family` is resin, metal, metal-lead, plastic or none. `pot_life_s` is 0 where the material
    freezes instead of gelling. `strength_mpa` is what it bears before it bends for good or breaks.
    """

    key: str
    title: str
    family: str
    shrink_ratio: Range
    viscosity_pa_s: Range
    density_g_cm3: Range
    pot_life_s: Range
    demould_s: Range
    pour_degC: Range
    freeze_degC: Range
    surface_tension_n_m: Range
    contact_angle_deg: Range
    modulus_mpa: Range
    strength_mpa: Range
    least_wall_mm: Range


@dataclass(frozen=True)
class Paint:
    """A class of paint jobs: a primer and a number of coats, each of a dry thickness.

    `level_ratio` is the radius to which a film levels, over its thickness.
    """

    key: str
    title: str
    primer_mm: Range
    coat_mm: Range
    coats: Range
    level_ratio: Range

    @property
    def film_mm(self) -> Range:
        """Dry thickness of the whole film on one face: primer + coats · coat, ends with ends."""
        low, likely, high = (
            self.primer_mm.scenario(s) + self.coats.scenario(s) * self.coat_mm.scenario(s)
            for s in ("low", "likely", "high")
        )
        return Range(low, likely, high, "mm", self.coat_mm.basis, self.coat_mm.source)


@dataclass(frozen=True)
class Materials:
    """Everything that one job is made with."""

    printer: Printer
    resin: Resin
    mould: Mould
    cast: Casting
    paint: Paint


Record = TypeVar("Record", bound="DataclassInstance")

CATALOGUES: dict[str, tuple[str, type]] = {
    "printer": ("printers", Printer),
    "resin": ("resins", Resin),
    "mould": ("rubbers", Mould),
    "cast": ("castings", Casting),
    "paint": ("paints", Paint),
}
"""For each word of the job file's [process] table: its data file and its record."""


@cache
def catalogue(word: str) -> dict[str, Any]:
    """All records of one kind by key; `word` is printer, resin, mould, cast or paint."""
    file, record = CATALOGUES[word]
    return {key: _record(record, key, table, file) for key, table in read_data(file).items()}


def choose(word: str, key: str, *, where: str = "") -> Any:
    """The record `key` of the catalogue `word`; `where` is named in the error.

    Raises
    ------
    InputError
        There is no such record; the mend names the nearest.
    """
    known = catalogue(word)
    if key not in known:
        raise InputError(f"there is no {word} '{key}'", where=where or word, mend=nearest_word(key, known))
    return known[key]


def overridden(record: Record, values: Mapping[str, Any], *, where: str) -> Record:
    """The record with the maker's own figures in place of ours; their basis becomes the maker's.

    Raises
    ------
    InputError
        A name is not a figure of the record, or a value is no figure.
    """
    figures = {f.name: getattr(record, f.name) for f in fields(record)}
    changed: dict[str, Any] = {}
    for name, value in values.items():
        if name not in figures or name in ("key", "title"):
            known = [n for n in figures if n not in ("key", "title")]
            raise InputError(f"there is no figure '{name}'", where=where, mend=nearest_word(name, known))
        old = figures[name]
        if isinstance(old, Range):
            changed[name] = override_figure(old, value, where=f"{where}.{name}")
        elif type(value) is type(old):
            changed[name] = value
        else:
            raise InputError(
                f"{value!r} can't stand for {old!r}",
                where=f"{where}.{name}",
                mend="Give true or false." if isinstance(old, bool) else "Give a word in quotes.",
            )
    return replace(record, **changed)


def _record(record: type, key: str, table: Mapping[str, Any], file: str) -> Any:
    wanted = {f.name for f in fields(record)} - {"key"}
    if set(table) != wanted:
        odd = ", ".join(sorted(set(table) ^ wanted))
        raise InputError(
            f"missing or unknown figures: {odd}",
            where=f"{file}.toml [{key}]",
            mend="Give one figure per field of the record.",
        )
    values = {
        name: figure_from(value, where=f"{file}.toml [{key}] {name}") if isinstance(value, dict) else value
        for name, value in table.items()
    }
    return record(key=key, **values)
