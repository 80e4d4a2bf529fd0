"""How kernels are compiled and where the machine code is kept.

numba's own cache does not notice edits in another file, nor that bounds checks were asked for
(measured: a stale helper gave 6 for 303). So each module's cache folder is named by a hash of
the module, of every module it imports (see `firstcast.sources`), and of the mode. An edit recompiles only what
depends on it. The folder is the user's cache folder, so a read-only install works.
"""

import os
import sys
import tempfile
from functools import cache
from pathlib import Path
from typing import Any

import numba
import numba.core.config

from firstcast.sources import ROOT, dependency_digest

numba_config: Any = numba.core.config


@cache
def cache_root() -> Path:
    """The folder for machine code: $FIRSTCAST_CACHE, the user's cache folder, or one for this process."""
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
        root = Path(tempfile.mkdtemp(prefix="firstcast-"))
    return root


@cache
def _folder(path: Path) -> str:
    module = ".".join(("firstcast", *path.relative_to(ROOT).with_suffix("").parts))
    mode = f"{numba.__version__}-{numba_config.BOUNDSCHECK}"
    folder = cache_root() / "kernels" / f"{path.stem}-{dependency_digest(module)}-{mode}"
    folder.mkdir(parents=True, exist_ok=True)
    return str(folder)


def kernel(
    function: Any = None,
    *,
    parallel: bool = False,
    fastmath: bool | set[str] = False,
    makes_arrays: bool = True,
) -> Any:
    """Compile a function of raw arrays with numba, cached by content.

    A kernel that other kernels call in their innermost loops, and that makes no array of its own, says so by
    `makes_arrays=False`. Then its machine code does not count the users of the arrays, rows and tuples of arrays that pass
    through it: counting is an atomic step each time, and threads that share an array wait for each other.
    Such a kernel must not give back an array, and cannot be one that makes any: numba refuses to compile it.

    `fastmath` stays off unless a loop is measured to need it; pass a set of flags without "nnan"
    and "ninf", never True, where NaN or infinity can occur.
    """

    # always said: else it would be as in the kernel that is compiled around it
    counting: Any = {"_nrt": makes_arrays}

    def declare(function):
        before = numba_config.CACHE_DIR
        numba_config.CACHE_DIR = _folder(Path(function.__code__.co_filename))
        try:
            return numba.njit(
                cache=True, parallel=parallel, fastmath=fastmath, error_model="numpy", nogil=True, **counting
            )(function)
        finally:
            numba_config.CACHE_DIR = before

    return declare if function is None else declare(function)
