"""What a piece of code depends on: its sources, its data files and the libraries it imports.

A result's key contains this, so that an edited kernel, a changed material figure or another
library version makes again exactly what used it, and nothing else. Modules are read, not imported.
"""

import ast
import hashlib
import importlib.metadata
import re
import sys
from functools import cache
from pathlib import Path
from typing import NamedTuple

PACKAGE = "firstcast"
ROOT = Path(__file__).resolve().parent

_DISTRIBUTIONS = {"PIL": "pillow"}
"""Where the name to import and the name to install differ."""

_IMPORT = re.compile(rb"^[ \t]*((?:from[ \t]+\S+[ \t]+)?import[ \t]+(?:\([^)]*\)|[^\n(]*))", re.MULTILINE)


class Imports(NamedTuple):
    """What one source file names: modules of the package, other top-level modules, and its own hash."""

    own: tuple[str, ...]
    other: tuple[str, ...]
    reads_data: bool
    digest: str


def _module_path(module: str, root: Path) -> Path | None:
    stem = root.joinpath(*module.split(".")[1:])
    for path in (stem.with_suffix(".py"), stem / "__init__.py"):
        if path.exists() and stem != root:
            return path
    return root / "__init__.py" if stem == root else None


def _import_statements(text: bytes) -> list[ast.AST]:
    """The import statements of a source file, each of which starts a line; parsed alone: ten times as fast.

    Where prose looks like one, or one is written in a way that the pattern doesn't know, the whole file is parsed.
    """
    try:
        return list(ast.parse(b"\n".join(_IMPORT.findall(text))).body)
    except SyntaxError:
        return list(ast.walk(ast.parse(text)))


@cache
def _imports(path: Path, root: Path) -> Imports:
    text = path.read_bytes()
    own: set[str] = set()
    other: set[str] = set()
    for node in _import_statements(text):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names = [node.module, *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for name in names:
            top = name.split(".")[0]
            if top != PACKAGE:
                other.add(top)
            elif _module_path(name, root) is not None:
                own.add(name)
    reads_data = b"importlib.resources" in text or b"importlib import resources" in text
    return Imports(tuple(sorted(own)), tuple(sorted(other)), reads_data, hashlib.blake2b(text).hexdigest())


@cache
def _version(name: str) -> str:
    if name in sys.stdlib_module_names:
        return ""
    try:
        return importlib.metadata.version(_DISTRIBUTIONS.get(name, name))
    except importlib.metadata.PackageNotFoundError:
        return "not installed"


@cache
def dependency_digest(module: str, root: Path = ROOT) -> str:
    """Hash of everything that decides what `module` computes.

    Parameters
    ----------
    module : str
        Dotted name, such as "firstcast.stations.fuse".
    root : Path
        The folder of the package (another one in tests).

    Returns
    -------
    str
        Hex digest over the module's source and those of all modules of the package it imports,
        followed through; the files in the `data` folder beside any of them that reads package
        data; the versions of all other libraries that they import; and Python's own version.
    """
    digest = hashlib.blake2b(digest_size=16)
    digest.update(f"python {sys.version_info[:2]}".encode())
    waiting, seen, libraries = [module], set(), set()
    while waiting:
        name = waiting.pop()
        if name in seen:
            continue
        seen.add(name)
        path = _module_path(name, root)
        if path is None:
            raise ModuleNotFoundError(name)
        imports = _imports(path, root)
        waiting.extend(imports.own)
        libraries.update(imports.other)
    for name in sorted(seen):
        path = _module_path(name, root)
        assert path is not None  # it was read just above
        imports = _imports(path, root)
        digest.update(f"{name} {imports.digest}".encode())
        if imports.reads_data:
            for data in sorted((path.parent / "data").glob("*")):
                digest.update(data.name.encode() + hashlib.blake2b(data.read_bytes()).digest())
    for library in sorted(libraries):
        digest.update(f"{library} {_version(library)}".encode())
    return digest.hexdigest()
