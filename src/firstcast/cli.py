"""The command line: parse, call, print.

    firstcast new SCULPTURE [JOB_FOLDER]   a commented job file from a folder of part meshes
    firstcast run JOB                      take the job along the route; masters, proof, pictures
    firstcast tell JOB                     the route card of the last run
    firstcast prove JOB                    measure the written masters once more
    firstcast gauge FOLDER                 a plaque to print, and what to measure on it
    firstcast fit MEASURED.csv             the process's figures from what was measured

JOB is a job file or the folder it stands in. Exit codes: 0 done (findings may ask for a look); 2 the job,
a file or the call is wrong; 3 a finding stops the job, masters are held back; 4 the proof does not hold;
130 interrupted; 1 a fault of firstcast's own.
"""

import argparse
import json
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from firstcast import __version__
from firstcast.errors import FirstcastError

DONE, FAULT, WRONG_INPUT, STOPPED, UNPROVED, INTERRUPTED = 0, 1, 2, 3, 4, 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="firstcast",
        description="From a finished digital sculpture to proved print masters for casting.",
        epilog="Exit codes: 0 done; 2 the job, a file or the call is wrong; 3 a finding stops the job, "
        "masters are held back; 4 the proof does not hold; 130 interrupted; 1 a fault of firstcast's own.",
    )
    parser.add_argument("--version", action="version", version=f"firstcast {__version__}")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")

    new = commands.add_parser("new", help="write a commented job file from a folder of part meshes")
    new.add_argument("sculpture", type=Path, help="the folder of meshes; nothing is written into it")
    new.add_argument("job", type=Path, nargs="?", help="the job's own folder (default: SCULPTURE-job here)")
    new.set_defaults(work=_new)

    run = commands.add_parser("run", help="take a job along the route: masters, proof, pictures, report")
    run.add_argument("job", type=Path, help="the job file, or its folder")
    run.add_argument(
        "--json", action="store_true", help="print the report, and progress as JSON lines on stderr"
    )
    run.add_argument("--quiet", action="store_true", help="no progress")
    run.set_defaults(work=_run)

    tell = commands.add_parser("tell", help="print the route card of the last run")
    tell.add_argument("job", type=Path, help="the job file, or its folder")
    tell.add_argument("--json", action="store_true", help="print the report instead")
    tell.set_defaults(work=_tell)

    prove = commands.add_parser("prove", help="measure the written masters once more")
    prove.add_argument("job", type=Path, help="the job file, or its folder")
    prove.add_argument("--json", action="store_true", help="print the proof as JSON")
    prove.set_defaults(work=_prove)
    _add_gauge(commands)
    return parser


def _add_gauge(commands) -> None:
    gauge = commands.add_parser("gauge", help="write a plaque to print, and what to measure on it")
    gauge.add_argument("folder", type=Path, help="where plaque, sheet and table are put")
    gauge.add_argument("--printer", default="mono-35", metavar="KEY", help="the printer's class")
    gauge.add_argument("--resin", default="tough", metavar="KEY", help="the resin's class")
    gauge.add_argument("--layer", type=float, metavar="MM", help="layer thickness (default: the usual one)")
    gauge.set_defaults(work=_gauge)

    fit = commands.add_parser("fit", help="fit the process to a measured gauge, for jobs to take")
    fit.add_argument("measured", type=Path, help="the table of the gauge, filled in")
    fit.add_argument(
        "--out", type=Path, metavar="FILE", help="the process file (default: process.toml beside the table)"
    )
    fit.set_defaults(work=_fit)


def _new(arguments: argparse.Namespace) -> int:
    from firstcast import workshop

    path = workshop.new(arguments.sculpture, arguments.job)
    print(f"{path}\nRead it through: every guess is marked. Then: firstcast run {path.parent}")
    return DONE


def _run(arguments: argparse.Namespace) -> int:
    from firstcast import progress, workshop
    from firstcast.sheets.route_card import card_text

    tell: Callable = progress.silent
    if not arguments.quiet:
        tell = progress.json_lines(sys.stderr) if arguments.json else progress.lines(sys.stderr)
    made = workshop.run(arguments.job, tell=tell)
    print(json.dumps(made.report, indent=1) if arguments.json else card_text(made.report))
    if not arguments.json:
        print(f"\nEverything is in {made.folder}")
    return _code(made.report)


def _tell(arguments: argparse.Namespace) -> int:
    from firstcast import workshop
    from firstcast.sheets.route_card import card_text

    report = workshop.last_report(arguments.job)
    print(json.dumps(report, indent=1) if arguments.json else card_text(report))
    return _code(report)


def _prove(arguments: argparse.Namespace) -> int:
    from firstcast import workshop

    proof, text = workshop.prove(arguments.job)
    print(json.dumps(proof, indent=1) if arguments.json else text)
    return DONE if proof["verdict"] != "stop" else UNPROVED


def _gauge(arguments: argparse.Namespace) -> int:
    from firstcast import gauging

    made = gauging.make_gauge(
        arguments.folder, printer=arguments.printer, resin=arguments.resin, layer_mm=arguments.layer
    )
    print("\n".join(str(file) for file in made.files))
    print(f"Read the sheet, print the plaque, fill the table in. Then: firstcast fit {made.files[-1]}")
    return DONE


def _fit(arguments: argparse.Namespace) -> int:
    from firstcast import gauging

    made = gauging.fit_gauge(arguments.measured, arguments.out)
    print(gauging.fit_text(made))
    if made.file is None:
        print("\nNothing is told that a job could take: no process file is written.")
        return WRONG_INPUT
    print(f'\n{made.file}\nA job takes it by [process] fitted = "{made.file.name}".')
    return DONE


def _code(report: dict) -> int:
    if report["proof"].get("verdict") == "stop":
        return UNPROVED
    return DONE if report["released"] else STOPPED


def main(words: Sequence[str] | None = None) -> int:
    """Run one command; returns its exit code."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(encoding="utf-8", errors="replace")  # verdict shapes on consoles of other code pages
    arguments = _parser().parse_args(words)
    try:
        return arguments.work(arguments)
    except FirstcastError as error:
        print(f"firstcast: {error}", file=sys.stderr)
        return WRONG_INPUT
    except KeyboardInterrupt:
        print("firstcast: interrupted; what was finished is kept, the next run goes on", file=sys.stderr)
        return INTERRUPTED
    except MemoryError:
        print(
            "firstcast: this machine ran out of memory. Close other programs, or give [fuse] a coarser pitch_mm.",
            file=sys.stderr,
        )
        return WRONG_INPUT


if __name__ == "__main__":
    sys.exit(main())
