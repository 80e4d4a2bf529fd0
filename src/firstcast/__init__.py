"""firstcast: from a finished digital sculpture to proved print masters for casting.

A job file names the sculptor's part meshes and how they will be printed, moulded and cast.
The stations of `firstcast.route` turn them into print masters; `firstcast.proof` measures the
written files again by code of its own.
"""

import os

# Before numpy is loaded: eigenvalues differ in their last digits with the number of threads that a BLAS shares them out to, and what is
# chosen by them may differ in more. Work is shared out by threads of our own, whose number changes nothing.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS"):
    os.environ.setdefault(_threads, "1")

__version__ = "0.1.0"

__all__ = ["__version__"]
