"""An analysis as one self-contained HTML page: pictures, tables, verdict, cautions, provenance.

Nothing is fetched and no script runs; all text from the run is escaped. The file appears whole
or not at all, and the same run gives the same bytes.
"""

import logging
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

from markupsafe import Markup

import fermkit
from fermkit.basis.cautions import cautions_for
from fermkit.basis.errors import InputError
from fermkit.basis.files import write_whole
from fermkit.basis.shown import visible
from fermkit.basis.written import Page, nominal
from fermkit.run.analysis import Analysis
from fermkit.run.comparison import RunComparison
from fermkit.run.records import Source
from fermkit.show import plots


@dataclass(frozen=True)
class Drawn:
    """A picture and what it shows in words."""

    svg: Any
    alt: str


Draw = Callable[[Any, Analysis, Any], str]
"""From a result, the analysis and a pair of axes to the words that go with the picture."""


def write_report(result: Analysis | RunComparison, path: str | Path) -> Path:
    """Write the yield report to one HTML file that opens anywhere and prints to PDF.

    Parameters
    ----------
    result : Analysis or RunComparison
        From `analyse`, or from `compare_runs`.
    path : str or Path
        Where to write; an older report there is replaced once the new one is whole.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    InputError
        Where the file cannot be written, or holds the readings themselves.
    """
    return write_whole(path, html_report(result).encode(), read={source.sha256 for source in sources(result)})


def html_report(result: Analysis | RunComparison) -> str:
    """The report as a text of HTML.

    Parameters
    ----------
    result : Analysis or RunComparison

    Returns
    -------
    str
    """
    import numpy
    import scipy

    if isinstance(result, Analysis):
        shown = _of_one_run(result)
    elif isinstance(result, RunComparison):
        shown = _of_several_runs(result)
    else:
        raise InputError(
            f"a report of {type(result).__name__} was asked for", "an analysis, or a comparison of runs",
            "write the report of analyse(read_run(…)) or of compare_runs([…])",
        )  # fmt: skip
    versions = {"version": fermkit.__version__, "numpy": numpy.__version__, "scipy": scipy.__version__}
    return visible(_template().render(**shown, **versions, sources=sources(result)))


def sources(result: Analysis | RunComparison) -> tuple[Source, ...]:
    """The files that a result comes from."""
    analyses = result.analyses if isinstance(result, RunComparison) else (result,)
    return tuple(source for analysis in analyses for source in analysis.run.sources)


def _of_one_run(analysis: Analysis) -> dict[str, Any]:
    run = analysis.run
    return {
        "title": run.name,
        "date": run.date,
        "note": run.note,
        "invented": run.invented,
        "first": analysis.first_words,
        "headline": Page("", analysis.headline),
        "answer": analysis.answer,
        "verdict": analysis.verdict,
        "alarm": analysis.consistent is False,
        "front": _drawn(lambda ax: _carbon(analysis, ax), 9.5),
        "cautions": analysis.cautions.sentences(),
        "sections": _sections(analysis),
        "advice": analysis.advice,
        "gaps": analysis.gaps,
        "findings": [str(finding) for finding in run.findings],
    }


def _of_several_runs(found: RunComparison) -> dict[str, Any]:
    page = found.page()
    return {
        "title": page.heading,
        "date": "",
        "note": "",
        "invented": any(analysis.run.invented for analysis in found.analyses),
        "first": (),
        "headline": Page(""),
        "answer": "",
        "verdict": "",
        "alarm": False,
        "front": None,
        "cautions": list(dict.fromkeys(line for one in found.analyses for line in one.cautions.sentences())),
        "sections": [(page, None)],
        "advice": (),
        "gaps": [f"{one.run.name}: {gap}" for one in found.analyses for gap in one.gaps],
        "findings": [f"{one.run.name}, {finding}" for one in found.analyses for finding in one.run.findings],
    }


@cache
def _template() -> Any:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("fermkit.show", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("report.html.jinja")


def _sections(analysis: Analysis) -> list[tuple[Page, Drawn | None]]:
    """Every page with the picture of its result, which the first page of the result carries."""
    drawn: set[str] = set()
    told = set(analysis.cautions.sentences())
    out = []
    for name, page in analysis.sections():
        page = _without_told(page, told)
        picture = None
        if name in PICTURES and name not in drawn:
            drawn.add(name)
            picture = _drawn(partial(_by_name, name, analysis))
        out.append((page, picture))
    return out


def _without_told(page: Page, told: set[str]) -> Page:
    """A page without the cautions that the report has shown before; those that it shows are noted as told."""
    cautions = set(cautions_for().sentences())
    remarks = [remark for remark in page.remarks if remark not in told]
    told |= cautions & set(remarks)
    return replace(page, remarks=remarks, parts=[_without_told(part, told) for part in page.parts])


def _by_name(name: str, analysis: Analysis, ax: Any) -> str:
    return PICTURES[name](getattr(analysis, name), analysis, ax)


def _drawn(draw: Callable[[Any], str], height_cm: float = 8.0) -> Drawn | None:
    """A picture, or None where there is nothing to draw; one that cannot be drawn costs itself only."""
    picture = plots.figure(16.0, height_cm)
    try:
        with plots.house_style():
            alt = draw(picture.add_subplot())
        return Drawn(Markup(plots.svg(picture)), alt) if alt else None  # matplotlib escapes the texts in it
    except Exception:  # the numbers stand without it; the log has the way through the code
        logging.getLogger("fermkit").debug("a picture failed", exc_info=True)
        return None


def _carbon(a: Analysis, ax: Any) -> str:
    into, out = a.carbon
    return plots.where_it_went(into, out, ax=ax) if out and nominal(into) > 0 else ""


def _electrons(a: Analysis, ax: Any) -> str:
    if a.balance is None or a.reconciliation is None:
        return ""
    into, out = a.balance.flows("electrons", "reconciled" if a.consistent else "reported")
    return plots.where_it_went(into, out, "electrons", ax=ax)


PICTURES: Final[Mapping[str, Draw]] = {
    "yields": lambda yields, _, ax: plots.against_limits(yields, ax=ax),
    "shares": lambda shares, _, ax: plots.shares(shares, ax=ax),
    "read": lambda read, a, ax: plots.gas_curve(a.gas[0], read, ax=ax),
    "growth": lambda growth, a, ax: plots.gas_curve(a.gas[0], growth, ax=ax),
    "curves": lambda curves, _, ax: plots.compared(curves, ax=ax),
    "calibration": lambda line, a, ax: plots.calibration(line, [r for s in a.samples for r in s.readings], ax=ax),
    "hold": lambda hold, _, ax: plots.hold(hold, ax=ax),
    "drying": lambda drying, _, ax: plots.drying(drying, ax=ax),
    "balance": lambda _, a, ax: _electrons(a, ax),
    "reconciliation": lambda found, _, ax: plots.moved(found, ax=ax),
}
"""How a result is drawn, by its name in the analysis; without a line here it has no picture."""
