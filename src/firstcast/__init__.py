"""firstcast: from a finished digital sculpture to proved print masters for casting.

A job file names the sculptor's part meshes and how they will be printed, moulded and cast.
The stations of `firstcast.route` turn them into print masters; `firstcast.proof` measures the
written files again by code of its own.
"""

__version__ = "0.1.0"

__all__ = ["__version__"]
