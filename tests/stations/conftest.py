"""Failed checks of shared helpers tell their values too."""

import pytest

pytest.register_assert_rewrite("intake_checks")
