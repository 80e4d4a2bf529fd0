"""Pieces may not be called like what is made beside them."""

import pytest

from watchman_job import GOOD, changed, read, refused

BODY = 'name = "body"'


@pytest.mark.parametrize("name", ["run 1", "Run 12", "trial run", "Trial run 2", "route card", "proof"])
def test_names_that_are_taken(folder, name):
    assert BODY in GOOD
    error = refused(folder, changed(BODY, f'name = "{name}"'))
    assert "something that is made has this name" in error.what
    assert error.mend == "Call it otherwise."


@pytest.mark.parametrize("name", ["run", "runner 1", "trial", "trial runner"])
def test_names_that_are_free(folder, name):
    assert name in {spec.name for spec in read(folder, changed(BODY, f'name = "{name}"')).piece_specs}
