"""Settings for all tests."""

import os

from hypothesis import settings

# No deadline: a kernel may compile inside the first example. In CI the same examples each time, so that a
# failure there can be repeated here.
settings.register_profile("house", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "house")
