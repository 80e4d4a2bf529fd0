"""The gauge from plaque to process file: what `firstcast gauge` and `firstcast fit` do.

FOLDER/gauge.stl, gauge.3mf    the plaque to print
FOLDER/gauge-sheet.pdf, .png   what to measure on it
FOLDER/measured.csv            the table to fill in; a table that is there is never written over
process.toml                   beside the filled table: what the fit told
"""

import io
from dataclasses import dataclass
from pathlib import Path

from firstcast import __version__
from firstcast.errors import FileError, InputError
from firstcast.gauge_design import GaugeDesign
from firstcast.geometry.plaque import Plaque, plaque
from firstcast.io.measured import read_measured, write_template
from firstcast.io.process_file import write_process_file
from firstcast.io.write import write_3mf, write_stl, write_whole
from firstcast.process.fit import fit_process
from firstcast.process.fitted import Fitted
from firstcast.process.gauge import Gauge
from firstcast.process.materials import Printer, choose

TABLE, PROCESS_FILE = "measured.csv", "process.toml"


@dataclass(frozen=True)
class GaugeMade:
    """What `make_gauge` wrote, and the plaque."""

    plaque: Plaque
    files: tuple[Path, ...]


def make_gauge(folder: Path, *, printer: str, resin: str, layer_mm: float | None) -> GaugeMade:
    """Write the gauge of a printer, resin and layer into a folder.

    Raises
    ------
    InputError
        Printer or resin is not known, or the layer makes no gauge.
    FileError
        A file can't be written, or a table of measurements is there already.
    """
    design = _design(printer, resin, layer_mm)
    table = folder / TABLE
    if table.exists():
        raise FileError(
            "there is a table of measurements already",
            where=str(table),
            mend="Move it away, or name another folder.",
        )
    made = plaque(design)
    stl, package = folder / "gauge.stl", folder / "gauge.3mf"
    write_stl(stl, made.mesh)
    notes = {"made_with": f"firstcast {__version__}", "printer": printer, "layer_mm": f"{design.layer_mm:g}"}
    write_3mf(package, {"gauge": made.mesh}, notes)
    sheets = write_sheet(folder / "gauge-sheet", made)
    write_template(table, made.design)
    return GaugeMade(made, (stl, package, *sheets, table))


def write_sheet(stem: Path, made: Plaque) -> tuple[Path, ...]:
    """The sheet as one PDF and as a PNG per page: STEM.pdf, STEM-1.png, STEM-2.png, each whole or not at all.

    Raises
    ------
    FileError
        A file can't be written.
    """
    from PIL import Image  # slow to import: fitting draws nothing

    from firstcast.sheets.gauge_sheet import draw_sheet
    from firstcast.sheets.plate import DPI

    first, second = (page.image for page in draw_sheet(made))
    few = [
        image.quantize(colors=256, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
        for image in (first, second)
    ]
    files = []
    for number, image in enumerate(few, start=1):
        path = stem.with_name(f"{stem.name}-{number}.png")
        _write(path, lambda stream, image=image: image.save(stream, format="PNG", dpi=(DPI, DPI)))
        files.append(path)
    pdf = stem.with_name(f"{stem.name}.pdf")
    # Without dates, so that the same gauge gives the same bytes.
    dates = {"creationDate": None, "modDate": None}
    _write(
        pdf,
        lambda stream: first.save(
            stream, format="PDF", save_all=True, append_images=[second], resolution=DPI, quality=92, **dates
        ),
    )
    return (pdf, *files)


def _write(path: Path, save) -> None:
    filled = io.BytesIO()
    save(filled)
    write_whole(path, lambda stream: stream.write(filled.getvalue()))


def _design(printer: str, resin: str, layer_mm: float | None) -> GaugeDesign:
    chosen: Printer = choose("printer", printer)
    choose("resin", resin)
    layer = chosen.layer_mm.likely if layer_mm is None else layer_mm
    # The narrowest that a job's [process] layer_mm takes, and the widest.
    if not 0.005 < layer <= 0.3:
        raise InputError(
            f"a layer of {layer:g} mm", where="layer", mend="Give more than 0.005, up to 0.3 mm."
        )
    return GaugeDesign(printer, resin, (chosen.pixel_x_mm.likely, chosen.pixel_y_mm.likely), layer)


@dataclass(frozen=True)
class FitMade:
    """What `fit_gauge` found; `file` is None where nothing was told that a job could take."""

    gauge: Gauge
    fitted: Fitted
    file: Path | None


def fit_gauge(table: Path, out: Path | None) -> FitMade:
    """Fit the process to a filled table, and write the process file beside it or where `out` says.

    Raises
    ------
    FileError
        The table can't be read, a row can't be, or the process file can't be written.
    """
    gauge = read_measured(table)
    fitted = fit_process(gauge)
    if not any(figure.table for figure in fitted.figures):
        return FitMade(gauge, fitted, None)
    file = out or table.parent / PROCESS_FILE
    write_process_file(file, gauge, fitted, measured=table.name)
    return FitMade(gauge, fitted, file)


def fit_text(made: FitMade) -> str:
    """What was fitted, as a table for a console: figure, 90 % interval, how well it is told; then what is not."""
    lines = [
        f"{len(made.gauge.readings)} readings. Likely value, 90 % interval, and how well the readings tell it:"
    ]
    for figure in made.fitted.figures:
        span = figure.range
        ends = f"{span.low:.4g} to {span.high:.4g} {'' if span.unit == 'ratio' else span.unit}".rstrip()
        mark = "*" if figure.table else " "
        lines.append(f"{mark} {figure.name:<20} {span.likely:>9.4g}   {ends:<24} {figure.told}")
        lines.append(f"    {figure.says}")
    lines.append("* goes into the process file as a figure that jobs take; the others are told there.")
    lines += [f"\nNot told: {refusal.name}\n    {refusal.says}" for refusal in made.fitted.refusals]
    for scatter in made.fitted.scatters:
        chi2 = f"chi² {scatter.chi2:.1f} with {scatter.spare} to spare"
        grown = f"; intervals are widened {scatter.widened:.2g} times" if scatter.widened > 1 else ""
        lines.append(f"\n{scatter.kind}: {chi2}{grown}")
    lines += [f"- {note}" for note in made.fitted.notes]
    return "\n".join(lines)
