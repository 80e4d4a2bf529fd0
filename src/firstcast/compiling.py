"""How kernels are compiled and where the machine code is kept.

numba's own cache does not notice edits in another file, nor that bounds checks were asked for
(measured: a stale helper gave 6 for 303). So each module's cache folder is named by a hash of
the module, of every kernel module it imports, and of the mode. An edit recompiles only what
depends on it. The folder is the user's cache folder, so a read-only install works.
"""

import ast
import hashlib
import os
import sys
import tempfile
from functools import cache
from pathlib import Path

import numba
import numba.core.config as numba_config


def cache_root() -> Path:
    """The folder for machine code: $FIRSTCAST_CACHE, the user's cache folder, or a temporary one."""
    named = os.environ.get("FIRSTCAST_CACHE")
    if named:
        root = Path(named)
    elif sys.platform == "win32":
        root = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData/Local")) / "firstcast"
    else:
        root = Path(os.environ.get("XDG_CACHE_HOME", Path.home() / ".cache")) / "firstcast"
    try:
        root.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=root):
            pass
    except OSError:
        root = Path(tempfile.gettempdir()) / f"firstcast-{os.getuid() if hasattr(os, 'getuid') else 'cache'}"
        root.mkdir(parents=True, exist_ok=True)
    return root


@cache
def _closure_hash(path: Path) -> str:
    """Hash of a source file and of the sibling modules it imports, followed through."""
    text = path.read_bytes()
    digest = hashlib.blake2b(text, digest_size=10)
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("firstcast."):
            stem = node.module.rsplit(".", 1)[-1]
            for sibling in [stem, *(alias.name for alias in node.names)]:
                other = path.parent / f"{sibling}.py"
                if other.exists() and other != path and other.name != "compiling.py":
                    digest.update(_closure_hash(other).encode())
    return digest.hexdigest()


@cache
def _folder(path: Path) -> str:
    mode = f"{numba.__version__}-{numba_config.BOUNDSCHECK}"
    folder = cache_root() / "kernels" / f"{path.stem}-{_closure_hash(path)}-{mode}"
    folder.mkdir(parents=True, exist_ok=True)
    return str(folder)


def kernel(function=None, *, parallel: bool = False, fastmath: bool | set[str] = False):
    """Compile a function of raw arrays with numba, cached by content.

    `fastmath` stays off unless a loop is measured to need it; pass a set of flags without "nnan"
    and "ninf", never True, where NaN or infinity can occur.
    """

    def declare(function):
        before = numba_config.CACHE_DIR
        numba_config.CACHE_DIR = _folder(Path(function.__code__.co_filename))
        try:
            return numba.njit(
                cache=True, parallel=parallel, fastmath=fastmath, error_model="numpy", nogil=True
            )(function)
        finally:
            numba_config.CACHE_DIR = before

    return declare if function is None else declare(function)
