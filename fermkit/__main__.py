"""From the command line: ``python -m fermkit report RUN``, ``copy FOLDER``, ``workshop make|mark|pool|key DIR``."""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Any

from fermkit.basis.errors import FermkitError


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it worked, 1 when something in the data or the files stopped it, 2 for a wrong call.

    Parameters
    ----------
    arguments : sequence of str, optional
        Without it, those of the command line.

    Returns
    -------
    int
        The exit status.
    """
    chosen = _parser().parse_args(arguments)
    try:
        status = int(chosen.act(chosen))
        sys.stdout.flush()
        return status
    except FermkitError as problem:
        print(f"fermkit: {problem}", file=sys.stderr)
        return 1
    except BrokenPipeError:  # the reader of our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fermkit", description="Raw fermentation readings in, a defensible yield report out."
    )
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    report = commands.add_parser("report", help="analyse a run and write its yield report")
    report.add_argument("run", help="run folder with run.toml, or an .xlsx workbook")
    report.add_argument("-o", "--output", default="report.html", help="where to write it (report.html)")
    report.add_argument("--json", metavar="FILE", help="the same numbers as JSON")
    report.add_argument("--workbook", metavar="FILE", help="the same numbers as an .xlsx workbook")
    report.set_defaults(act=_report)
    copy = commands.add_parser("copy", help="put the notebooks and sample runs into a folder")
    copy.add_argument("folder")
    copy.set_defaults(act=_copy)
    _add_workshop(commands)
    return parser


def _add_workshop(commands: Any) -> None:
    workshop = commands.add_parser("workshop", help="data, marks and results of a class")
    acts = workshop.add_subparsers(required=True, metavar="ACT")
    for name, act, what in (
        ("make", _make_class, "write a folder for each group, and the key beside them"),
        ("mark", _mark, "mark the groups' answers; feedback pages go to the teacher's folder"),
        ("pool", _pool, "take together what the class found"),
        ("key", _key, "show the key: faults, answers, truth"),
    ):
        one = acts.add_parser(name, help=what)
        one.add_argument("folder", metavar="DIR", help="the class: everything that students get")
        one.add_argument("--teacher", metavar="FOLDER", help="secret, key, marks (DIR-teacher); keep it from students")
        one.set_defaults(act=act)
        if name == "make":
            one.add_argument("--groups", type=int, default=8, metavar="N", help="how many groups (8)")
            one.add_argument(
                "--faults", metavar="LIST", help="names to deal from, with commas; 'none' for honest data (all of them)"
            )


def _report(chosen: argparse.Namespace) -> int:
    from fermkit.run.analysis import analyse
    from fermkit.run.records import read_run
    from fermkit.show.exports import write_json, write_results
    from fermkit.show.report import write_report

    analysis = analyse(read_run(chosen.run))
    print(analysis)
    print(f"\nThe report is in {write_report(analysis, chosen.output)}")
    if chosen.json:
        print(f"The numbers are in {write_json(analysis, chosen.json)}")
    if chosen.workbook:
        print(f"The workbook is in {write_results(analysis, chosen.workbook)}")
    return 0


def _copy(chosen: argparse.Namespace) -> int:
    from fermkit.show.kit import copy_kit

    print(f"Notebooks and sample runs are in {copy_kit(chosen.folder)}")
    return 0


def _make_class(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import make_class
    from fermkit.teach.mishaps import NAMES

    faults = (
        NAMES if chosen.faults is None else tuple(name.strip() for name in chosen.faults.split(",") if name.strip())
    )
    print(make_class(chosen.groups, chosen.folder, faults=faults, teacher=chosen.teacher))
    return 0


def _mark(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import mark, teachers_folder

    marks = mark(chosen.folder, chosen.teacher)
    print(marks)
    print(f"\nMarks and feedback are in {marks.write(teachers_folder(chosen.folder, chosen.teacher))}")
    return 0


def _pool(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import pool, teachers_folder

    found = pool(chosen.folder)
    print(found)
    print("\ndrawing the page …", file=sys.stderr)
    print(f"The page is in {found.write(teachers_folder(chosen.folder, chosen.teacher))}")
    return 0


def _key(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import key_in_words

    print(key_in_words(chosen.folder, chosen.teacher))
    return 0


if __name__ == "__main__":
    sys.exit(main())
