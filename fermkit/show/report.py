"""An analysis as one self-contained HTML page: pictures, tables, verdict, cautions, provenance.

Nothing is fetched and no script runs; all text from the run is escaped. The file appears whole
or not at all, and the same run gives the same bytes.
"""

import logging
from collections.abc import Callable, Iterator, Mapping
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
from fermkit.basis.written import Page, in_percent, interval, plus_minus
from fermkit.run.analysis import Analysis
from fermkit.run.comparison import Difference, RunComparison
from fermkit.run.first_page import (
    SUGAR_NOTE,
    does_it_add_up,
    false_alarms,
    how_good,
    in_short,
    rows,
    shut_beyond_rating,
    would_it_hold,
)
from fermkit.run.records import Source
from fermkit.run.timeline import timeline_or_why
from fermkit.run.yields import Yield
from fermkit.show import plots
from fermkit.show.formulas import FORMULAS
from fermkit.show.glossary import glossary


@dataclass(frozen=True)
class Drawn:
    """A picture and what it shows in words."""

    svg: Any
    alt: str


Draw = Callable[[Any, Analysis, Any], str]
"""From a result, the analysis and a pair of axes to the words that go with the picture."""


def write_report(result: Analysis | RunComparison, path: str | Path, *, short: bool = False) -> Path:
    """Write the yield report to one HTML file that opens anywhere and prints to PDF.

    The first page is for everybody, the second for whoever checks, the rest an appendix. A comparison of runs is one
    page to hand out.

    Parameters
    ----------
    result : Analysis or RunComparison
        From `analyse`, or from `compare_runs`.
    path : str or Path
        Where to write; an older report there is replaced once the new one is whole.
    short : bool
        The first two pages alone, without the appendix.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    InputError
        Where the file cannot be written, or holds the readings themselves.
    """
    text = html_report(result, short=short)
    return write_whole(path, text.encode(), read={source.sha256 for source in sources(result)})


def html_report(result: Analysis | RunComparison, *, short: bool = False) -> str:
    """The report as a text of HTML.

    Parameters
    ----------
    result : Analysis or RunComparison
    short : bool

    Returns
    -------
    str
    """
    import numpy
    import scipy

    if isinstance(result, Analysis):
        name, shown = "report.html.jinja", _of_one_run(result, short)
    elif isinstance(result, RunComparison):
        name, shown = "comparison.html.jinja", _of_several_runs(result)
    else:
        raise InputError(
            f"a report of {type(result).__name__} was asked for", "an analysis, or a comparison of runs",
            "write the report of analyse(read_run(…)) or of compare_runs([…])",
        )  # fmt: skip
    versions = {"version": fermkit.__version__, "numpy": numpy.__version__, "scipy": scipy.__version__}
    return visible(_template(name).render(**shown, **versions, short=short, sources=sources(result)))


def sources(result: Analysis | RunComparison) -> tuple[Source, ...]:
    """The files that a result comes from."""
    analyses = result.analyses if isinstance(result, RunComparison) else (result,)
    return tuple(source for analysis in analyses for source in analysis.run.sources)


def _of_one_run(a: Analysis, short: bool) -> dict[str, Any]:
    run, found = a.run, a.estimate
    alarm = a.consistent is False
    advice = list(a.advice)
    hours, no_hours = timeline_or_why(a)
    cause = advice.pop(0) if alarm and a.suspects is not None and a.suspects.alarm else ""
    return {
        "kicker": "Yield report",
        "handout": False,
        "title": run.name,
        "date": run.date,
        "note": run.note,
        "invented": run.invented,
        "answer": in_short(found) if found is not None else a.answer,
        "verdict": does_it_add_up(a),
        "alarm": alarm,
        "cause": cause,
        "rate": false_alarms(a),
        "first": a.first_words,
        "amounts": rows(a),
        "sugar_note": SUGAR_NOTE,
        "front": _drawn(partial(_call, plots.in_and_out, a), 5.6),
        "good": how_good(a),
        "held": would_it_hold(a),
        "burst": shut_beyond_rating(a),
        "advice": advice,
        "timeline": _drawn(partial(_call, plots.timeline, a), 4.5 if short else 5.0),
        "hours": None if hours is None else _drawn(partial(_call, plots.hours, hours), 4.0),
        "hours_words": () if hours is None else hours.words,
        "checks": [drawn for drawn in _checks(a) if drawn is not None],
        "yields_head": YIELDS_HEAD,
        "yields": [_yield_row(one) for one in a.yields.values()],
        "yields_note": [f"Limit of {one.product}: {one.limit_note}." for one in a.yields.values()],
        "tests": Page("", () if a.adds_up is None else a.adds_up.page().lines),
        "cautions": _cautions(a, short),
        "sections": [] if short else [*_sections(a), *([] if hours is None else [(hours.fit.page(), None)])],
        "gaps": [*a.gaps, *filter(None, [no_hours])],
        "formulas": FORMULAS,
        "glossary": () if short else glossary(a),
        "findings": [str(finding) for finding in run.findings],
    }


def _call(draw: Callable[..., str], result: Any, ax: Any) -> str:
    return draw(result, ax=ax)


def _cautions(a: Analysis, short: bool) -> list[str]:
    """Every caution that belongs to this run; in the short form its first sentence."""
    if not short:
        return list(a.cautions.sentences())
    return [f"{item.name}: {item.says.split('. ')[0].rstrip('.')}." for item in a.cautions.items]


def _checks(a: Analysis) -> Iterator[Drawn | None]:
    """The small pictures of the second page."""
    if len(a.gas) > 1:
        yield _drawn(partial(_call, plots.routes_apart, a.gas), 4.5, 8.6)
    if a.balance is not None:
        closure = a.balance.closure()
        yield _drawn(lambda ax: plots.closes(closure, a.reconciliation, a.routes, ax=ax), 4.5, 8.6)
    if a.suspects is not None and a.suspects.alarm:
        yield _drawn(partial(_call, plots.suspects, a.suspects), 4.5, 8.6)
    if a.estimate is not None and a.estimate.if_closed is not None:
        yield _drawn(partial(_call, plots.against_rating, a.estimate.if_closed), 4.5, 8.6)


YIELDS_HEAD: Final = ("product", "g for each g of sugar used, as hexose", "95 % interval", "% of the sugar's carbon",
                      "mg/(L h)", "% of its limit", "how known")  # fmt: skip


def _yield_row(found: Yield) -> tuple[str, ...]:
    low, high = found.interval()
    carbon = "" if found.per_carbon is None else plus_minus(found.per_carbon * 100)
    speed = "" if found.per_L_h is None else plus_minus(found.per_L_h * 1000)
    share = plus_minus(found.share_of_limit * 100)
    between = interval(low, high).removesuffix(" (95 %)")
    return (found.product, plus_minus(found.per_g), between, carbon, speed, share, str(found.mark))


def _of_several_runs(found: RunComparison) -> dict[str, Any]:
    names = [analysis.run.name for analysis in found.analyses]
    return {
        "kicker": "Run against run",
        "handout": True,
        "title": " and ".join(names),
        "date": "",
        "note": "",
        "invented": any(analysis.run.invented for analysis in found.analyses),
        "answer": found.answer,
        "front": _drawn(partial(_call, plots.side_by_side, found), 6.0),
        "differences_head": DIFFERENCES_HEAD,
        "differences": [_difference_row(one) for one in found.differences],
        "not_concluded": found.not_concluded,
        "cautions": list(dict.fromkeys(line for one in found.analyses for line in _cautions(one, True))),
        "sections": [],
        "formulas": (),
        "glossary": (),
        "gaps": [f"{one.run.name}: {gap}" for one in found.analyses for gap in one.gaps],
        "findings": [f"{one.run.name}, {finding}" for one in found.analyses for finding in one.run.findings],
    }


DIFFERENCES_HEAD: Final = ("product", "run", "against", "difference, g for each g of sugar used, as hexose",
                           "95 % interval", "so large by chance")  # fmt: skip


def _difference_row(one: Difference) -> tuple[str, ...]:
    between = interval(*one.interval()).removesuffix(" (95 %)")
    chance = f"in {in_percent(one.adjusted_p)} of such comparisons"
    return (one.product, one.run, one.against, plus_minus(one.value), between, chance)


@cache
def _template(name: str) -> Any:
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("fermkit.show", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template(name)


def _sections(analysis: Analysis) -> list[tuple[Page, Drawn | None]]:
    """Every page that the first two pages do not show, with a picture beside the first page of each result."""
    drawn: set[str] = set()
    told = set(analysis.cautions.sentences())
    out = []
    for name, page in analysis.sections():
        if name in SHOWN_BEFORE:
            continue
        page = _without_told(page, told)
        picture = None
        if name in PICTURES and name not in drawn:
            drawn.add(name)
            picture = _drawn(partial(_by_name, name, analysis))
        out.append((page, picture))
    return out


SHOWN_BEFORE: Final = ("yields", "own_sums")
"""Results that the first two pages show whole."""


def _without_told(page: Page, told: set[str]) -> Page:
    """A page without the cautions that the report has shown before; those that it shows are noted as told."""
    cautions = set(cautions_for().sentences())
    remarks = [remark for remark in page.remarks if remark not in told]
    told |= cautions & set(remarks)
    return replace(page, remarks=remarks, parts=[_without_told(part, told) for part in page.parts])


def _by_name(name: str, analysis: Analysis, ax: Any) -> str:
    return PICTURES[name](getattr(analysis, name), analysis, ax)


def _drawn(draw: Callable[[Any], str], height_cm: float = 8.0, width_cm: float = 16.0) -> Drawn | None:
    """A picture, or None where there is nothing to draw; one that cannot be drawn costs itself only."""
    picture = plots.figure(width_cm, height_cm)
    try:
        with plots.house_style():
            alt = draw(picture.add_subplot())
        return Drawn(Markup(plots.svg(picture)), alt) if alt else None  # matplotlib escapes the texts in it
    except Exception:  # the numbers stand without it; the log has the way through the code
        logging.getLogger("fermkit").debug("a picture failed", exc_info=True)
        return None


def _electrons(a: Analysis, ax: Any) -> str:
    if a.balance is None or a.reconciliation is None:
        return ""
    into, out = a.balance.flows("electrons", "reconciled" if a.consistent else "reported")
    return plots.where_it_went(into, out, "electrons", ax=ax)


PICTURES: Final[Mapping[str, Draw]] = {
    "shares": lambda shares, _, ax: plots.shares(shares, ax=ax),
    "read": lambda read, a, ax: plots.gas_curve(a.gas[0], read, ax=ax),
    "growth": lambda growth, a, ax: plots.gas_curve(a.gas[0], growth, ax=ax),
    "curves": lambda curves, _, ax: plots.compared(curves, ax=ax),
    "calibration": lambda line, a, ax: plots.calibration(line, [r for s in a.samples for r in s.readings], ax=ax),
    "yeast_course": lambda found, a, ax: plots.yeast_course(found, a.gas[0] if a.gas else None, ax=ax),
    "hold": lambda hold, _, ax: plots.hold(hold, ax=ax),
    "drying": lambda drying, _, ax: plots.drying(drying, ax=ax),
    "balance": lambda _, a, ax: _electrons(a, ax),
    "reconciliation": lambda found, _, ax: plots.moved(found, ax=ax),
}
"""How a result is drawn, by its name in the analysis; without a line here it has no picture."""
