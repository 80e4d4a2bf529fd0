"""Whether work fits this machine, before it is begun."""

import ctypes
import os
import sys
from pathlib import Path

from firstcast.errors import SizeError
from firstcast.tolerances import TOLERANCES


def free_bytes() -> int:
    """Memory that this machine can give without swapping, in bytes."""
    if sys.platform == "win32":
        return _free_bytes_windows()
    listed = Path("/proc/meminfo")
    if listed.exists():
        for line in listed.read_text().splitlines():
            if line.startswith("MemAvailable:"):
                return int(line.split()[1]) * 1024
    # Elsewhere only the whole is told by the standard library.
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")


def _free_bytes_windows() -> int:
    class Status(ctypes.Structure):
        _fields_ = [("length", ctypes.c_ulong), ("load", ctypes.c_ulong)] + [
            (name, ctypes.c_ulonglong) for name in ("whole", "free", "w1", "f1", "w2", "f2", "f3")
        ]

    status = Status()
    status.length = ctypes.sizeof(Status)
    ctypes.windll.kernel32.GlobalMemoryStatusEx(ctypes.byref(status))  # type: ignore[attr-defined]
    return int(status.free)


def check_fits(needed_bytes: float, *, where: str, mend: str) -> None:
    """Refuse work that needs more than `TOLERANCES.memory_share` of the memory that is free.

    Raises
    ------
    SizeError
        It doesn't fit.
    """
    free = free_bytes()
    if needed_bytes > TOLERANCES.memory_share * free:
        raise SizeError(
            f"the work needs about {needed_bytes / 1e9:.2g} GB, and {free / 1e9:.2g} GB are free, of which "
            f"{TOLERANCES.memory_share:.0%} may be used",
            where=where,
            mend=mend,
        )
