"""What tests of the job file share."""

import pytest

pytest.register_assert_rewrite("watchman_job")


@pytest.fixture
def folder(tmp_path):
    """The folder of an empty job, a sculpture's folder beside it."""
    from watchman_job import FILES  # after its checks were registered to tell their values

    sculpture = tmp_path / "sculpture"
    sculpture.mkdir()
    for name in FILES:
        (sculpture / name).write_text("x")
    (tmp_path / "job").mkdir()
    return tmp_path / "job"
