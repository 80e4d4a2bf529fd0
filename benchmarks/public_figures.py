"""Take public meshes along the whole route, as a maker would, and list what came out.

Each mesh gets a job of its own from `firstcast new`, with nothing changed but the height and the printer; then
`firstcast run` in a process of its own. The table is written anew after every run, from the records beside the
jobs, so that it can be stopped and taken up again.

    python benchmarks/public_figures.py MESHES WORK [--heights 32 75] [--printer mono-50] [--only NAME ...] [--out FILE]
"""

import argparse
import json
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import psutil

from firstcast.io.meshes import read_meshes

ROOT = Path(__file__).resolve().parent.parent
COLUMNS = (
    "figure", "height, mm", "parts", "triangles in", "body", "master", "ended", "proof", "s", "peak, GB", "what was said",
)  # fmt: skip
MOST_SAID = 4


def main() -> None:
    """Run what has no record yet, and write the table."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("meshes", type=Path)
    parser.add_argument("work", type=Path)
    parser.add_argument("--heights", type=float, nargs="+", default=[32.0, 75.0])
    parser.add_argument("--printer", default="mono-50")
    parser.add_argument("--only", nargs="+", default=[])
    parser.add_argument("--out", type=Path, default=ROOT / "docs" / "public-figures.md")
    asked = parser.parse_args()
    figures = [path for path in sorted(asked.meshes.iterdir()) if not asked.only or path.name in asked.only]
    for height in asked.heights:
        for path in figures:
            folder = asked.work / f"{path.stem}-{height:g}"
            record = folder.with_suffix(".json")
            if not record.exists():
                found = take(path, folder, height, asked.printer)
                record.write_text(json.dumps(found, indent=1), encoding="utf-8")
                shutil.rmtree(folder / "job" / ".store", ignore_errors=True)
                print(json.dumps(found), flush=True)
            asked.out.write_text(page(asked.work, asked.printer), encoding="utf-8")


def take(mesh: Path, folder: Path, height_mm: float, printer: str) -> dict:
    """One figure along the route; what a maker sees of it."""
    shutil.rmtree(folder, ignore_errors=True)
    (folder / "sculpture").mkdir(parents=True)
    shutil.copy(mesh, folder / "sculpture" / mesh.name)
    found: dict = {"figure": mesh.name, "height_mm": height_mm, "taken": _triangles(mesh)}
    made = _call("new", folder / "sculpture", folder / "job")
    if made["code"]:
        return {
            **found,
            "code": made["code"],
            "says": made["err"],
            "seconds": made["seconds"],
            "peak_gb": made["peak_gb"],
        }
    job = folder / "job" / "job.toml"
    job.write_text(_sized(job.read_text(encoding="utf-8"), height_mm, printer), encoding="utf-8")
    ran = _call("run", "--json", folder / "job")
    found |= {"code": ran["code"], "seconds": ran["seconds"], "peak_gb": ran["peak_gb"]}
    if not ran["out"].strip():
        return {**found, "says": ran["err"]}
    return {**found, **_read(json.loads(ran["out"]))}


def _triangles(mesh: Path) -> int:
    """How many triangles a file holds, before anything is mended."""
    return sum(len(read.mesh.triangles) for read in read_meshes(mesh))


def _sized(text: str, height_mm: float, printer: str) -> str:
    """The guessed job with one rule of size, and the printer."""
    head, rest = text.split("[size]", 1)
    size, process = rest.split("[process]", 1)
    up = re.search(r"^up = .*$", size, re.MULTILINE)
    size = f"\n{up.group() if up else ''}\ntotal_height_mm = {height_mm:g}\n\n"
    process = re.sub(r"^printer = .*$", f'printer = "{printer}"', process, flags=re.MULTILINE)
    return f"{head}[size]{size}[process]{process}"


def _call(*words: object) -> dict:
    """Run the tool; what it printed, how long it took, and the most memory it held at any look."""
    start = time.perf_counter()
    process = subprocess.Popen(
        [sys.executable, "-m", "firstcast.cli", *map(str, words)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, encoding="utf-8",
    )  # fmt: skip
    peak, watched = 0, psutil.Process(process.pid)
    out = err = ""
    while True:
        try:
            out, err = process.communicate(timeout=0.1)
            break
        except subprocess.TimeoutExpired:
            try:
                peak = max(peak, watched.memory_info().rss)
            except psutil.Error:
                continue
    errors = [line for line in err.splitlines() if not line.startswith("{")]
    return {
        "code": process.returncode, "out": out, "err": " ".join(errors)[-400:],
        "seconds": round(time.perf_counter() - start, 1), "peak_gb": round(peak / 1e9, 2),
    }  # fmt: skip


def _read(report: dict) -> dict:
    """What the table shows of a report."""
    measures = [
        (station["name"], measure["name"], measure["value"])
        for station in report["stations"]
        for measure in station["measures"]
    ]

    def total(station: str, name: str) -> int:
        return int(sum(value for at, what, value in measures if (at, what) == (station, name)))

    codes: dict[str, int] = {}
    for finding in report["findings"]:
        if finding["verdict"] != "sound" and finding["station"] != "plan":
            key = f"{finding['station']}/{finding['code']}"
            codes[key] = codes.get(key, 0) + 1
    rows = [
        f"{piece['piece']}: {row['check']}: {row['result']}"
        for piece in report["proof"]["pieces"]
        for row in piece["rows"]
        if row["verdict"] == "stop"
    ]
    return {
        "parts": sum(station["name"] == "intake" for station in report["stations"]),
        "body": total("fuse", "triangles given"),
        "master": sum(
            (file["bytes"] - 84) // 50 for file in report["files"] if file["path"].endswith(".stl")
        ),
        "verdict": report["verdict"],
        "proof": report["proof"]["verdict"],
        "codes": codes,
        "proof_stops": rows,
    }


def page(work: Path, printer: str) -> str:
    """All records as a page."""
    records = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(work.glob("*.json"))]
    lines = ["| " + " | ".join(COLUMNS) + " |", "|" + " --- |" * len(COLUMNS)]
    lines += ["| " + " | ".join(_cells(record)) + " |" for record in records]
    stops = [
        f"- {record['figure']} at {record['height_mm']:g} mm: {row}"
        for record in records
        for row in record.get("proof_stops", [])
    ]
    listed = "\n".join(["", "Where the proof stops:", "", *stops, ""]) if stops else ""
    return (
        "# Public figures along the route\n\n"
        "Every mesh of the public collection, taken as a maker would: `firstcast new`, one height, "
        f"printer {printer}, everything else as guessed. Written by\n\n"
        "    python benchmarks/public_figures.py MESHES WORK\n\n"
        "Left out of the last column: what plan says of the process. Times hold for the machine they were "
        "measured on, with whatever else ran there.\n\n" + "\n".join(lines) + "\n" + listed
    )


def _cells(record: dict) -> list[str]:
    codes = sorted(record.get("codes", {}).items(), key=lambda entry: (-entry[1], entry[0]))
    said = ", ".join(f"{code} × {count}" if count > 1 else code for code, count in codes[:MOST_SAID])
    if len(codes) > MOST_SAID:
        said += f", {len(codes) - MOST_SAID} more kinds"
    ended = {0: "masters released", 3: "masters held back", 4: "held by the proof"}.get(
        record["code"], f"error, code {record['code']}"
    )
    return [
        record["figure"], f"{record['height_mm']:g}", str(record.get("parts", "")),
        *(f"{record[key]:,}" if key in record else "" for key in ("taken", "body", "master")),
        ended, record.get("proof", ""), f"{record['seconds']:.0f}", f"{record['peak_gb']:.1f}", said or record.get("says", ""),
    ]  # fmt: skip


if __name__ == "__main__":
    main()
