"""A first job file for a folder of parts: commented, with every guess called one."""

import json
import os
from pathlib import Path
from typing import Any

from firstcast.errors import JobError
from firstcast.geometry.extents import PartExtents, extents_of, turned
from firstcast.io._guesses import (
    FoundPart,
    Guess,
    PieceGuess,
    file_word,
    guess_pieces,
    guess_ruler,
    guess_unit,
    guess_up,
    ruler_length_mm,
)
from firstcast.io._job_folders import part_files_in
from firstcast.io.job import JOB_FILE, part_name
from firstcast.io.meshes import read_meshes, survey
from firstcast.process.materials import CATALOGUES, catalogue
from firstcast.process.scale import UNITS_MM
from firstcast.vocabulary import ProcessKind

ONE_MESH_SUFFIXES = (".stl", ".ply")
"""Files that hold one mesh, which need not be read in full to know their extents."""

LINE_WIDTH = 100


def new_job(parts_folder: Path, job_folder: Path | None = None) -> Path:
    """Write a commented job file for the sculpture in `parts_folder`.

    The maker's folder is left as it is: the job file goes to a folder of its own.

    Parameters
    ----------
    parts_folder : Path
        The folder with the part meshes.
    job_folder : Path or None
        Where the job is to stand; by default NAME-job in the current folder.

    Returns
    -------
    Path
        The job file.

    Raises
    ------
    JobError
        There is a job file already, the job would stand among the maker's files, or there are no parts.
    FileError
        A part can't be read.
    """
    parts_folder = Path(parts_folder).resolve()
    if not parts_folder.is_dir():
        raise JobError(
            "there is no such folder", where=str(parts_folder), mend="Name the sculpture's folder."
        )
    name = file_word(parts_folder.name, "figure")
    job_folder = (Path.cwd() / f"{name}-job" if job_folder is None else Path(job_folder)).resolve()
    if job_folder == parts_folder or job_folder.is_relative_to(parts_folder):
        raise JobError(
            "the job would stand among the sculpture's own files",
            where=str(job_folder),
            mend="Name another folder for the job: the sculpture's is never written to.",
        )
    path = job_folder / JOB_FILE
    if path.exists():
        raise JobError(
            "there is a job file already",
            where=str(path),
            mend="Edit it, or name another folder for the job.",
        )
    text = job_text(name, _relative(parts_folder, job_folder), found_parts(parts_folder, job_folder))
    try:
        content = text.encode("utf-8")
    except UnicodeEncodeError:
        raise JobError(
            "a file name holds bytes that are no letters", where=str(parts_folder), mend="Rename the file."
        ) from None
    job_folder.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as file:
        file.write(content)
    return path


def found_parts(parts_folder: Path, job_folder: Path) -> tuple[FoundPart, ...]:
    """All parts of a folder with their extents and what their files declare.

    Raises
    ------
    JobError, FileError
        There are no parts, or one can't be read.
    """
    found = []
    for file in part_files_in(parts_folder, job_folder):
        if file.suffix.lower() in ONE_MESH_SUFFIXES:
            seen = survey(file)
            low, high = seen.extents.tolist()
            found.append(FoundPart(PartExtents(file.stem, tuple(low), tuple(high)), seen.unit_mm, seen.up))
            continue
        meshes = read_meshes(file)
        for mesh in meshes:
            name = part_name(file, mesh.name, len(meshes))
            found.append(FoundPart(extents_of(name, mesh.mesh.points), mesh.unit_mm, mesh.up))
    return tuple(found)


def job_text(name: str, parts_folder: str, parts: tuple[FoundPart, ...]) -> str:
    """The text of a first job file; every line that rests on a guess has a comment that begins so.

    Parameters
    ----------
    name : str
        The job's name.
    parts_folder : str
        As the job file is to name it.
    parts : tuple of FoundPart
        One at least.
    """
    ruler = guess_ruler(parts)
    figure = tuple(part for part in parts if part.extents.name != ruler)
    up = guess_up(figure)
    lines = [
        f"# The recipe of {name}. Every line that begins '# guessed:' wants your eye.",
        "# Lengths are millimetres on the finished casting. Every table and key: docs/job-file.md.",
        "",
        "[job]",
        f"name = {_toml(name)}",
        'note = ""',
        "wanted = 1  # castings: a note for now, nothing is reckoned from it yet",
        "",
        "[folders]",
        f"parts = {_toml(parts_folder)}  # is read, never written to",
        "",
        *_size_lines(parts, figure, ruler, up),
        "",
        *_process_lines(),
    ]
    for piece in guess_pieces(figure):
        lines += ["", *_piece_lines(piece)]
    lines += ["", *_closing_lines()]
    return "\n".join(lines) + "\n"


def _size_lines(
    parts: tuple[FoundPart, ...], figure: tuple[FoundPart, ...], ruler: str | None, up: Guess
) -> list[str]:
    key, rule = guess_unit(figure, str(up.value))
    lines = [
        "[size]",
        "# Rules: unit, ruler, total_height_mm, landmark (eyes or crown), real (life-size with a ratio).",
        "# Several may stand here; they must agree.",
        f"# guessed: up, {up.why}",
        f"up = {_toml(up.value)}",
    ]
    if ruler is None:
        return [*lines, f"# guessed: {rule.why}", f"{key} = {_toml(rule.value)}"]
    box = turned(next(part.extents for part in parts if part.extents.name == ruler), str(up.value))
    named = ruler_length_mm(ruler)
    if named is not None:
        # A name tells a length, not along which axis: a ruler is longest along its length.
        along = "height_mm" if box.size[2] >= max(box.size[:2]) else "width_mm"
        return [
            *lines,
            f"# guessed: a ruler by its name, which says {named:g} mm; it belongs to no piece",
            f"ruler = {_toml({'part': ruler, along: named})}",
        ]
    factor = UNITS_MM[str(rule.value)] if key == "unit" else 1.0
    along, length = ("height_mm", box.size[2]) if box.size[2] > 0 else ("width_mm", max(box.size[:2]))
    known = float(f"{length * factor:.4g}")
    return [
        *lines,
        f"# guessed: a ruler by its name. Write its true length: this one is a guess too, for {rule.why}",
        f"ruler = {_toml({'part': ruler, along: known})}",
    ]


def _process_lines() -> list[str]:
    lines = ["[process]", "# How it is printed, moulded, cast and painted: it sets limits and allowances."]
    choices = [("kind", ", ".join(kind.value for kind in ProcessKind))]
    choices += [(word, ", ".join(catalogue(word))) for word in CATALOGUES]
    lines += [f"#   {word}: {known}" for word, known in choices]
    return [
        *lines,
        "# Resin, isocyanate, solvent, hot metal, pressure and vacuum hurt: data sheets, local codes and licensed",
        "# practice come first.",
        "# guessed: a usual way for a short run; without mould and cast the kind's usual ones are taken",
        'kind = "cut-block"',
        'printer = "mono-35"',
        'resin = "tough"',
        'mould = "addition-silicone-30a"',
        'cast = "polyurethane"',
        'paint = "brushed"',
        "# Your data sheet or gauge overrides any figure:",
        "# override.resin.shrink_xy_ratio = { low = 0.004, likely = 0.005, high = 0.006 }",
        "# Who allows for which shrinkage: maker, caster, toolmaker or nobody.",
        '# who = { print = "maker", mould = "caster", cast = "caster" }',
    ]


def _piece_lines(piece: PieceGuess) -> list[str]:
    listed = ", ".join(_toml(part) for part in piece.parts)
    lines = ["[[piece]]", f"# guessed: {piece.why}", f"name = {_toml(piece.name)}"]
    if len(listed) + len("parts = []") <= LINE_WIDTH:
        return [*lines, f"parts = [{listed}]"]
    return [*lines, "parts = [", *(f"    {_toml(part)}," for part in piece.parts), "]"]


def _closing_lines() -> list[str]:
    return [
        "# Places that want care, in millimetres on the figure (z up), by part, ball, box or outline.",
        "# Carry heeds them: detail there is not exaggerated, or nothing is moved at all:",
        "# [[zone]]",
        '# name = "face"',
        '# meaning = "precious"  # or "no carry", "no change"; "letters": read measures the strokes of lettering there',
        "# ball = { centre_mm = [0.0, -4.0, 50.0], radius_mm = 4.0 }",
        "",
        "# A finding that you accept, by the id that the report shows; it lapses when it worsens by a tenth:",
        "# [[accept]]",
        '# id = "fuse/thin-place/1a2b3c"',
        '# reason = "the hem is glued on afterwards"',
        "# measured = 0.42",
    ]


def _relative(parts_folder: Path, job_folder: Path) -> str:
    try:
        return Path(os.path.relpath(parts_folder, job_folder)).as_posix()
    except ValueError:
        # Another drive has no way there that begins here.
        return parts_folder.as_posix()


def _toml(value: Any) -> str:
    """A value as TOML writes it. JSON's strings are TOML's, but for one control character."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml(item)}" for key, item in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
