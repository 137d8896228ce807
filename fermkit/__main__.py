"""From the command line: ``python -m fermkit report RUN [-o FILE]``, ``python -m fermkit copy FOLDER``."""

import argparse
import sys
from collections.abc import Sequence

from fermkit.errors import FermkitError


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
        return int(chosen.act(chosen))
    except FermkitError as problem:
        print(f"fermkit: {problem}", file=sys.stderr)
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
    return parser


def _report(chosen: argparse.Namespace) -> int:
    from fermkit.analysis import analyse
    from fermkit.exports import write_json, write_results
    from fermkit.records import read_run
    from fermkit.report import write_report

    analysis = analyse(read_run(chosen.run))
    print(analysis)
    print(f"\nThe report is in {write_report(analysis, chosen.output)}")
    if chosen.json:
        print(f"The numbers are in {write_json(analysis, chosen.json)}")
    if chosen.workbook:
        print(f"The workbook is in {write_results(analysis, chosen.workbook)}")
    return 0


def _copy(chosen: argparse.Namespace) -> int:
    from fermkit.kit import copy_kit

    print(f"Notebooks and sample runs are in {copy_kit(chosen.folder)}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
