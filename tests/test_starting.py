"""A run that finds everything made already must not wait for libraries that only making something needs."""

import subprocess
import sys

SLOW = ("scipy.spatial", "scipy.ndimage", "scipy.linalg", "PIL.Image", "lib3mf")

OPEN_A_JOB = """
import sys
import firstcast.cli, firstcast.progress, firstcast.sheets.route_card, firstcast.workshop
from firstcast.route import ROUTE
for station in ROUTE:
    station.settings_model
print(*[name for name in sys.argv[1:] if name in sys.modules])
"""


def test_opening_a_job_imports_nothing_that_it_does_not_need():
    ran = subprocess.run(
        [sys.executable, "-c", OPEN_A_JOB, *SLOW], capture_output=True, text=True, check=True
    )
    assert ran.stdout.split() == []


def test_saying_the_version_imports_no_numbers():
    code = "import sys, firstcast.cli; print('numpy' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"
