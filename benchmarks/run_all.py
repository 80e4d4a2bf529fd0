"""Run every benchmark and write benchmarks/RESULTS.md.

Each benchmark is a module beside this one with a docstring that says what is compared and `rows() -> list[dict]`.
All cases of a benchmark run side by side in one run on one machine: read times as ratios.

    python benchmarks/run_all.py [NAME ...]
"""

import importlib
import importlib.metadata
import os
import platform
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
NAMES = (
    "fuse",
    "edges",
    "reduce",
    "tree",
    "proof",
    "plate",
    "sections",
    "forecast",
    "readings",
    "read_station",
    "stand",
    "props",
    "nesting",
    "layers",
    "pull",
    "mincut",
)
LIBRARIES = ("numpy", "numba", "scipy", "manifold3d", "trimesh", "libigl", "fast-simplification")


def table(rows: list[dict]) -> str:
    """Rows as a Markdown table; columns in the order of their first use."""
    columns = list(dict.fromkeys(column for row in rows for column in row))
    lines = ["| " + " | ".join(columns) + " |", "|" + " --- |" * len(columns)]
    lines += ["| " + " | ".join(str(row.get(column, "")) for column in columns) + " |" for row in rows]
    return "\n".join(lines)


def _machine() -> str:
    versions = ", ".join(f"{name} {importlib.metadata.version(name)}" for name in LIBRARIES)
    return f"{os.cpu_count()} cores, Python {platform.python_version()}, {platform.system()}; {versions}"


def main(names: tuple[str, ...]) -> None:
    """Run the named benchmarks, and replace their sections of the results."""
    sys.path.insert(0, str(HERE))
    path = HERE / "RESULTS.md"
    sections = _sections(path)
    for name in names:
        module = importlib.import_module(name)
        print(f"{name} ...", flush=True)
        about = (module.__doc__ or "").strip().split("\n\n    ")[0]
        command = f"    python benchmarks/run_all.py {name}"
        sections[name] = f"## {name}\n\n{about}\n\n{table(module.rows())}\n\n{command}\n"
        head = f"# Benchmark results\n\nWritten by `make benchmark`. {_machine()}. Times are of one run: read them as ratios.\n"
        ordered = [sections[known] for known in NAMES if known in sections]
        path.write_text("\n".join([head, *ordered]), encoding="utf-8")
    print(path)


def _sections(path: Path) -> dict[str, str]:
    if not path.exists():
        return {}
    parts = path.read_text(encoding="utf-8").split("\n## ")[1:]
    return {part.split("\n", 1)[0]: "## " + part.rstrip("\n") + "\n" for part in parts}


if __name__ == "__main__":
    main(tuple(sys.argv[1:]) or NAMES)
