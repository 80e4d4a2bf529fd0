"""What a result depends on is followed through imports, data files and library versions."""

import ast
import shutil

import pytest

from firstcast import sources
from firstcast.products import KINDS, MASTERS


@pytest.fixture
def house(tmp_path):
    root = tmp_path / "firstcast"
    shutil.copytree(sources.ROOT, root, ignore=shutil.ignore_patterns("__pycache__"))
    return root


def forget():
    for cached in (sources._imports, sources._version, sources.dependency_digest):
        cached.cache_clear()


def digests(root):
    forget()
    names = ("fuse", "allow", "reduce")
    return {name: sources.dependency_digest(f"firstcast.stations.{name}", root) for name in names}


def changed(before, after):
    return {name for name in before if before[name] != after[name]}


def test_a_kernel_changes_what_uses_it_and_nothing_else(house):
    before = digests(house)
    assert changed(before, digests(house)) == set()
    kernel = house / "kernels" / "collapse.py"
    kernel.write_text(kernel.read_text(encoding="utf-8") + "\n# another line\n", encoding="utf-8")
    assert changed(before, digests(house)) == {"reduce"}


def test_a_shared_module_changes_all(house):
    before = digests(house)
    path = house / "findings.py"
    path.write_text(path.read_text(encoding="utf-8") + "\n# another line\n", encoding="utf-8")
    assert changed(before, digests(house)) == {"fuse", "allow", "reduce"}


def test_another_plate_proves_no_master_again(house):
    def both():
        forget()
        plates = next(kind for kind in KINDS if kind.name == "plates")
        return [sources.dependency_digest(kind.module, house) for kind in (MASTERS, plates)]

    masters, pictures = both()
    path = house / "sheets" / "plate.py"
    path.write_text(path.read_text(encoding="utf-8") + "\n# another line\n", encoding="utf-8")
    again = both()
    assert again[0] == masters
    assert again[1] != pictures


def test_a_data_file_changes_what_reads_it(house):
    forget()
    before = sources.dependency_digest("firstcast.stations.plan", house)
    data = sorted((house / "process" / "data").glob("*.toml"))[0]
    data.write_text(data.read_text(encoding="utf-8") + "\n# another supplier\n", encoding="utf-8")
    forget()
    assert sources.dependency_digest("firstcast.stations.plan", house) != before


def test_a_library_version_changes_what_imports_it(house, monkeypatch):
    before = digests(house)
    real = sources.importlib.metadata.version
    monkeypatch.setattr(
        sources.importlib.metadata, "version", lambda name: "99" if name == "numba" else real(name)
    )
    after = digests(house)
    assert {"fuse", "reduce"} <= changed(before, after)
    forget()
    before = sources.dependency_digest("firstcast.findings", house)
    monkeypatch.undo()
    forget()
    assert sources.dependency_digest("firstcast.findings", house) == before


def named(nodes):
    return {ast.unparse(node) for node in nodes if isinstance(node, ast.Import | ast.ImportFrom)}


def test_every_import_of_the_package_is_seen():
    for path in sorted(sources.ROOT.rglob("*.py")):
        text = path.read_bytes()
        assert named(sources._import_statements(text)) == named(ast.walk(ast.parse(text))), path


@pytest.mark.parametrize(
    "text",
    [
        "import a, b.c as d\nfrom a.b import (  # of (old)\n    c,\n    d as e,\n)\n",
        "def f():\n    from a import b\n    if b:\n        import c\n",
        "from a import b, \\\n    c\n",
        '"""\nimport what the maker\nwants.\n"""\nimport a\n',
    ],
)
def test_imports_are_seen_however_they_are_written(text):
    assert named(sources._import_statements(text.encode())) == named(ast.walk(ast.parse(text)))


def test_an_unknown_module_is_an_error(house):
    with pytest.raises(ModuleNotFoundError):
        sources.dependency_digest("firstcast.stations.nowhere", house)
