"""The files of a sound run, and a copy of them to spoil."""

import shutil

import pytest

from written_runs import written


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    folder = tmp_path_factory.mktemp("run")
    return folder, written(folder)


@pytest.fixture
def copy(sound, tmp_path):
    for file in sound[0].iterdir():
        shutil.copy(file, tmp_path)
    return tmp_path, sound[1]
