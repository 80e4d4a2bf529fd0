"""Eigenvalues come out the same to the last bit, whatever number of threads a BLAS would take by itself."""

import os
import subprocess
import sys

import pytest

ASKED = """
import firstcast, hashlib, os
import numpy as np
from scipy import linalg
rng = np.random.default_rng(7)
a = rng.normal(size=(480, 480))
values, ways = linalg.eigh(a + a.T, a @ a.T + 480.0 * np.eye(480), subset_by_index=[476, 479])
print(os.environ["OPENBLAS_NUM_THREADS"], hashlib.sha256(values.tobytes() + ways.tobytes()).hexdigest())
"""


def told(**said: str) -> list[str]:
    kept = {name: value for name, value in os.environ.items() if not name.endswith("_NUM_THREADS")}
    run = subprocess.run(
        [sys.executable, "-c", ASKED], env=kept | said, check=True, capture_output=True, text=True
    )
    return run.stdout.split()


def test_a_process_that_nobody_told_works_as_one_that_was_told_to_use_one_thread():
    assert told() == told(OPENBLAS_NUM_THREADS="1")


@pytest.mark.parametrize("threads", ["2", "3"])
def test_who_says_how_many_is_heard(threads):
    assert told(OPENBLAS_NUM_THREADS=threads)[0] == threads
