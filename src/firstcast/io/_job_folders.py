"""Where a job's files lie, and whether the names in the job file can be theirs."""

from fnmatch import fnmatchcase
from pathlib import Path

from firstcast.errors import JobError
from firstcast.io.meshes import MESH_SUFFIXES
from firstcast.process.figures import nearest_word


def fits(name: str, pattern: str) -> bool:
    """Whether a name is a pattern's own or one that its glob fits. Capitals count."""
    return name == pattern or fnmatchcase(name, pattern)


def parts_folder_of(path: Path, named: str) -> Path:
    """The folder of the sculpture that a job file names, absolute."""
    folder = Path(named)
    folder = folder if folder.is_absolute() else path.parent / folder
    try:
        folder = folder.resolve()
        if folder.is_dir():
            return folder
        a_file = folder.is_file()
    except OSError as error:
        raise JobError(
            f"{folder} can't be opened ({error.strerror})",
            where="folders.parts",
            mend="Name the folder of the sculpture, and see that you may open it.",
        ) from None
    raise JobError(
        f"{folder} is a file" if a_file else f"there is no folder {folder}",
        where="folders.parts",
        mend=_mend_of_folder(named),
    )


def _mend_of_folder(named: str) -> str:
    mend = "Name the folder of the sculpture, from the job file's own folder on or in full."
    if "\\" in named:
        return f"{mend} Write / between folders."
    if named.startswith("~"):
        return f"{mend} ~ does not stand for your home folder here."
    return mend


def part_files_in(folder: Path, job_folder: Path) -> tuple[Path, ...]:
    """The mesh files that lie in the folder itself, sorted by name.

    Links that lead out of it and out of the job's folder are refused: only named folders are read.
    """
    files: dict[str, Path] = {}
    for file in _content(folder):
        if file.suffix.lower() not in MESH_SUFFIXES or file.name.startswith(".") or not file.is_file():
            continue
        real = file.resolve()
        if not (real.is_relative_to(folder) or real.is_relative_to(job_folder.resolve())):
            raise JobError(
                f"{file.name} is a link to {real.parent}, which the job file does not name",
                where="folders.parts",
                mend="Name that folder, or copy the file.",
            )
        if file.stem in files:
            raise JobError(
                f"{files[file.stem].name} and {file.name} would both be part '{file.stem}'",
                where="folders.parts",
                mend="Rename one, or move it elsewhere.",
            )
        files[file.stem] = file
    if not files:
        raise JobError(
            f"there is no mesh file in {folder}",
            where="folders.parts",
            mend=f"Export the parts there as one of {', '.join(MESH_SUFFIXES)}.",
        )
    return tuple(files.values())


def _content(folder: Path) -> list[Path]:
    try:
        return sorted(folder.iterdir())
    except OSError as error:
        raise JobError(
            f"{folder} can't be read ({error.strerror})",
            where="folders.parts",
            mend="See that you may read that folder.",
        ) from None


def check_pattern(pattern: str, stems: list[str], where: str) -> None:
    """That a part's name or glob can fit a file; whether its object is there shows when the file is read."""
    if pattern.startswith(("/", "\\", "~")) or ".." in pattern.split("/"):
        raise JobError(
            f"'{pattern}' is a path, not a part's name",
            where=where,
            mend="Name parts as FILE or FILE/OBJECT; their folder stands in folders.parts.",
        )
    head = pattern.split("/")[0]
    if not any(fits(stem, head) or fits(stem, pattern) for stem in stems):
        mend = nearest_word(head, stems)
        if any(head.lower().endswith(suffix) for suffix in MESH_SUFFIXES):
            mend = "Leave the file's suffix away. " + mend
        raise JobError(f"no part is named '{pattern}'", where=where, mend=mend)
