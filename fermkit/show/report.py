"""An analysis as one self-contained HTML page: pictures, tables, verdict, cautions, provenance.

Nothing is fetched and no script runs; all text from the run is escaped. The file appears whole
or not at all, and the same run gives the same bytes.
"""

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from markupsafe import Markup

from fermkit.basis.errors import InputError
from fermkit.basis.written import Page, nominal
from fermkit.run.analysis import Analysis
from fermkit.show import plots


@dataclass(frozen=True)
class Drawn:
    """A picture and what it shows in words."""

    svg: Any
    alt: str


Draw = Callable[[Analysis, Any], str]


@dataclass(frozen=True)
class Section:
    """One step: its page, and how to draw it, if it has a picture."""

    page: Page
    draw: Draw | None = None


def write_report(analysis: Analysis, path: str | Path) -> Path:
    """Write the yield report to one HTML file that opens anywhere and prints to PDF.

    Parameters
    ----------
    analysis : Analysis
        From `analyse`.
    path : str or Path
        Where to write; an older report there is replaced once the new one is whole.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    InputError
        Where the file cannot be written.
    """
    return write_whole(Path(path), html_report(analysis).encode())


def html_report(analysis: Analysis) -> str:
    """The report as a text of HTML.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    str
    """
    from importlib.metadata import version

    import numpy
    import scipy

    run = analysis.run
    text: str = _template().render(
        title=run.name,
        date=run.date,
        note=run.note,
        invented=run.invented,
        answer=analysis.answer,
        verdict=analysis.verdict,
        alarm=analysis.consistent is False,
        front=_drawn(_carbon, analysis, 9.5),
        cautions=analysis.cautions.sentences(),
        sections=[(s.page, s.draw and _drawn(s.draw, analysis)) for s in sections(analysis)],
        advice=analysis.advice,
        gaps=analysis.gaps,
        sources=run.sources,
        findings=[str(finding) for finding in run.findings],
        version=version("fermkit"),
        numpy=numpy.__version__,
        scipy=scipy.__version__,
    )
    return text


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


def sections(analysis: Analysis) -> list[Section]:
    """Every step that the run holds, in the order of the work.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    list of Section
        What the report, the JSON and the workbook all show.
    """
    a = analysis
    out: list[Section] = []

    def add(result: Any, draw: Draw | None = None) -> None:
        if result is not None:
            out.append(Section(result if isinstance(result, Page) else result.page(), draw))

    if a.yields:
        add(Page("Yields", [line for found in a.yields.values() for line in found.lines()]), _limits)
        add(a.uncertainty_shares(_leading(a)), _shares)
    add(a.feed)
    add(a.limits)
    for gas in a.gas:
        add(gas)
    add(a.routes)
    add(a.read, _growth)
    add(a.curves, _curves)
    if a.curves is None:
        add(a.growth, None if a.read else _growth)
    add(a.calibration, _calibration)
    add(a.drift)
    for sample in a.samples:
        add(sample)
    add(a.harvest)
    add(a.yeast)
    add(a.recovery)
    add(a.protein)
    add(a.hold, _hold)
    add(a.drying, _drying)
    add(a.balance.closure() if a.balance else None, _electrons)
    add(a.reconciliation, _moved)
    add(a.suspects)
    add(a.blind)
    add(a.next_measurements)
    add(a.pressure)
    return out


def _leading(a: Analysis) -> str:
    return "yeast_yield" if "yeast_yield" in a.yields else next(iter(a.yields))


def _drawn(draw: Draw, analysis: Analysis, height_cm: float = 8.0) -> Drawn | None:
    picture = plots.figure(16.0, height_cm)
    with plots.house_style():
        alt = draw(analysis, picture.add_subplot())
    return Drawn(Markup(plots.svg(picture)), alt) if alt else None  # matplotlib escapes the texts in it


def _carbon(a: Analysis, ax: Any) -> str:
    into, out = a.carbon
    return plots.where_it_went(into, out, ax=ax) if out and nominal(into) > 0 else ""


def _electrons(a: Analysis, ax: Any) -> str:
    if a.balance is None or a.reconciliation is None:
        return ""
    into, out = a.balance.flows("electrons", "reconciled" if a.consistent else "reported")
    return plots.where_it_went(into, out, "electrons", ax=ax)


def _limits(a: Analysis, ax: Any) -> str:
    return plots.against_limits(a.yields, ax=ax) if a.yields else ""


def _growth(a: Analysis, ax: Any) -> str:
    return plots.gas_curve(a.gas[0], a.read or a.growth, ax=ax)


def _curves(a: Analysis, ax: Any) -> str:
    return plots.compared(a.curves, ax=ax) if a.curves else ""


def _calibration(a: Analysis, ax: Any) -> str:
    return (
        plots.calibration(a.calibration, [reading for sample in a.samples for reading in sample.readings], ax=ax)
        if a.calibration
        else ""
    )


def _hold(a: Analysis, ax: Any) -> str:
    return plots.hold(a.hold, ax=ax) if a.hold else ""


def _drying(a: Analysis, ax: Any) -> str:
    return plots.drying(a.drying, ax=ax) if a.drying else ""


def _moved(a: Analysis, ax: Any) -> str:
    return plots.moved(a.reconciliation, ax=ax) if a.reconciliation else ""


def _shares(a: Analysis, ax: Any) -> str:
    return plots.shares(a.uncertainty_shares(_leading(a)), ax=ax)


def write_whole(path: Path, content: bytes) -> Path:
    """Write beside the target, then move into place: the old file whole, or the new file whole."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".tmp")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as problem:
        raise InputError(
            f"{str(path)!r} cannot be written: {problem.strerror}",
            "a folder that exists and may be written to",
            "choose another place with -o",
        ) from None
    return path
