"""From the command line: ``python -m fermkit begin DIR``, ``report RUN``, ``copy DIR``, ``workshop ACT DIR``."""

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from functools import partial
from itertools import combinations
from typing import Any

import fermkit
from fermkit.basis.errors import FermkitError, InputError
from fermkit.basis.shown import say


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
        say(f"fermkit: {problem}", error=True)
        return 1
    except BrokenPipeError:  # the reader of our output has seen enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except KeyboardInterrupt:
        say("fermkit: stopped", error=True)
        return 130


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="fermkit",
        description="From what you measured while something fermented to a report: how much of the sugar became yeast, "
        "alcohol and gas, how sure that is, and whether the numbers fit together.",
        epilog="The same from Python: analysis = fermkit.analyse(fermkit.read_run(FOLDER)). "
        "'fermkit COMMAND --help' says more about a command.",
    )
    parser.add_argument("--version", action="version", version=f"fermkit {fermkit.__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    start = commands.add_parser("begin", help="begin a run of your own: a few questions, or the answers as options")
    start.add_argument("folder", metavar="DIR", help="a new folder; nothing is ever overwritten")
    start.add_argument("--sugar", metavar="WHAT", action="append", help='such as "150 g" or "300 g beet molasses"')
    for name, what in (
        ("water", 'such as "2 L"'), ("liquid", "or the volume with everything in it"), ("yeast", 'such as "5 g"'),
        ("vessel", 'such as "3 L jar"'), ("closed", "airlock, closed, vented or open"),
        ("temperature", 'such as "22 °C"'),
        ("measure", 'what you will measure, such as "bubbles, alcohol"; see the questions'),
    ):  # fmt: skip
        start.add_argument(f"--{name}", metavar="WHAT", default="", help=what)
    start.add_argument("--readings", metavar="FILE", action="append", default=[], help="a CSV or .xlsx of your own")
    start.set_defaults(act=_begin)
    report = commands.add_parser("report", help="read a run, print what came of it, and write the report as a web page")
    report.add_argument("run", metavar="RUN", help="the folder with run.toml and its tables, or one .xlsx workbook")
    report.add_argument(
        "-o", "--output", metavar="FILE", default="report.html", help="where the page goes (report.html, here)"
    )
    report.add_argument("--json", metavar="FILE", help="the same numbers for other programs")
    report.add_argument("--workbook", metavar="FILE", help="the same numbers as an .xlsx workbook")
    report.add_argument("--short", action="store_true", help="the first two pages alone, without the appendix")
    report.set_defaults(act=_report)
    copy = commands.add_parser("copy", help="put the notebooks and the sample runs into a folder of yours")
    copy.add_argument("folder", metavar="FOLDER")
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
            one.add_argument(
                "--real", action="store_true", help="for real jars: an empty workbook, a sheet a group, to be filled in"
            )


def _report(chosen: argparse.Namespace) -> int:
    from fermkit.run.analysis import analyse
    from fermkit.run.records import read_run
    from fermkit.show.exports import write_json, write_results
    from fermkit.show.report import write_report

    whole: Callable[[Any, str], Any] = partial(write_report, short=chosen.short)
    wanted = [(whole, chosen.output, "report"), (write_json, chosen.json, "file of numbers")]
    wanted = [one for one in [*wanted, (write_results, chosen.workbook, "workbook")] if one[1]]
    for (_, path, _), (_, other, _) in combinations(wanted, 2):
        if os.path.realpath(path) == os.path.realpath(other):
            raise InputError(f"two things are to be written to {path!r}", "a name for each", "change one of the names")
    analysis = analyse(read_run(chosen.run))
    written = [f"The {what} is in {write(analysis, path)}" for write, path, what in wanted]
    say("\n".join([str(analysis), "", *written]))
    return 0


def _begin(chosen: argparse.Namespace) -> int:
    from fermkit.run.analysis import analyse
    from fermkit.run.begin import begin
    from fermkit.run.records import read_run

    answers = ("sugar", "water", "liquid", "yeast", "vessel", "closed", "temperature", "measure", "readings")
    folder = begin(chosen.folder, **{name: getattr(chosen, name) for name in answers})
    try:
        analysis = analyse(read_run(folder))
        found = "\n".join(f"  {line}" for line in (analysis.answer, *map(str, analysis.run.doubts)))
    except FermkitError as problem:  # such as a unit that no title names
        found = f"  One thing is still to be said.\n  {problem}"
    files = ", ".join(sorted(path.name for path in folder.iterdir()))
    say(f"In {folder}: {files}.\n\n{found}\n\nWrite your numbers into these files as they come, and each time:\n"
        f"  python -m fermkit report {folder}")  # fmt: skip
    return 0


def _copy(chosen: argparse.Namespace) -> int:
    from fermkit.show.kit import copy_kit

    say(f"Notebooks and sample runs are in {copy_kit(chosen.folder)}")
    return 0


def _make_class(chosen: argparse.Namespace) -> int:
    from fermkit.teach.class_data import make_class
    from fermkit.teach.mishaps import NAMES, NONE
    from fermkit.teach.real_jars import make_real_class

    told = chosen.faults
    if chosen.real:
        if told is not None:
            raise InputError(f"--real with --faults {told}", "invented data or real jars", "leave out one of the two")
        say(str(make_real_class(chosen.groups, chosen.folder, chosen.teacher)))
        return 0
    faults = (*NAMES, NONE) if told is None else tuple(name.strip() for name in told.split(",") if name.strip())
    say(str(make_class(chosen.groups, chosen.folder, faults=faults, teacher=chosen.teacher)))
    return 0


def _mark(chosen: argparse.Namespace) -> int:
    from fermkit.teach.class_data import teachers_folder
    from fermkit.teach.marking import mark

    marks = mark(chosen.folder, chosen.teacher)
    say(f"{marks}\n\nMarks and feedback are in {marks.write(teachers_folder(chosen.folder, chosen.teacher))}")
    return 0


def _pool(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import pool, teachers_folder

    found = pool(chosen.folder, chosen.teacher)
    say(f"{found}\n")
    say("drawing the page …", error=True)
    say(f"The page is in {found.write(teachers_folder(chosen.folder, chosen.teacher))}")
    return 0


def _key(chosen: argparse.Namespace) -> int:
    from fermkit.teach.classes import key_in_words

    say(key_in_words(chosen.folder, chosen.teacher))
    return 0


if __name__ == "__main__":
    sys.exit(main())
