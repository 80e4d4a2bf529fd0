"""Where kernels find their decorator: see `firstcast.compiling`."""

from firstcast.compiling import cache_root, kernel

__all__ = ["cache_root", "kernel"]
