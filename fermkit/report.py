"""An analysis as one self-contained HTML page: pictures, tables, verdict, cautions, provenance.

Nothing is fetched and no script runs; all text from the run is escaped. The file appears whole
or not at all, and the same run gives the same bytes.
"""

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from fermkit import plots
from fermkit.analysis import Analysis
from fermkit.errors import InputError
from fermkit.written import Page, nominal


@dataclass(frozen=True)
class Drawn:
    """A picture and what it shows in words."""

    svg: Any
    alt: str


@dataclass(frozen=True)
class Section:
    """One step: its page and its pictures."""

    page: Page
    pictures: tuple[Drawn, ...] = ()


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
    return _write_whole(Path(path), html_report(analysis))


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

    import jinja2
    import numpy
    import scipy

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("fermkit", "."),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    run = analysis.run
    return environment.get_template("report.html.jinja").render(
        title=run.name,
        date=run.date,
        note=run.note,
        invented=run.invented,
        answer=analysis.answer,
        verdict=analysis.verdict,
        alarm=analysis.consistent is False,
        front=_svg(_carbon, analysis, 11.0),
        cautions=analysis.cautions.sentences(),
        sections=sections(analysis),
        advice=analysis.advice,
        gaps=analysis.gaps,
        sources=run.sources,
        findings=[str(finding) for finding in run.findings],
        version=version("fermkit"),
        numpy=numpy.__version__,
        scipy=scipy.__version__,
    )


def sections(analysis: Analysis) -> list[Section]:
    """Every step that the run holds, with its picture, in the order of the work."""
    a = analysis
    out = [
        Section(Page("Yields", [line for found in a.yields.values() for line in found.lines()]), _pictures(_limits, a))
    ]
    out += [Section(a.feed.page())] if a.feed else []
    out += [Section(a.limits.page())] if a.limits else []
    for gas in a.gas:
        out.append(Section(gas.page()))
    out += [Section(a.routes.page())] if a.routes else []
    out += [Section(a.growth.page(), _pictures(_growth, a))] if a.growth else []
    out += [Section(a.calibration.page(), _pictures(_calibration, a))] if a.calibration else []
    out += [
        Section(
            Page(
                f"Sample {name}, diluted {nominal(reading.factor):g} times",
                reading.page().lines,
                reading.page().remarks,
            )
        )
        for name, _, reading in a.samples
    ]
    out += [Section(a.harvest.page())] if a.harvest else []
    out += [Section(a.yeast.page())] if a.yeast else []
    out += [Section(a.hold.page(), _pictures(_hold, a))] if a.hold else []
    out += [Section(a.balance.closure().page())] if a.balance else []
    out += [Section(a.reconciliation.page(), _pictures(_moved, a))] if a.reconciliation else []
    out += [Section(a.suspects.page())] if a.suspects else []
    out += [Section(a.blind.page())] if a.blind else []
    out += [Section(a.next_measurements.page())] if a.next_measurements else []
    out += [Section(a.pressure.page())] if a.pressure else []
    if a.yields:
        name = "yeast_yield" if "yeast_yield" in a.yields else next(iter(a.yields))
        out.append(Section(a.uncertainty_shares(name).page(), _pictures(_shares, a)))
    return out


def _pictures(draw: Callable[[Analysis, Any], str], analysis: Analysis, height_cm: float = 8.0) -> tuple[Drawn, ...]:
    drawn = _svg(draw, analysis, height_cm)
    return (drawn,) if drawn is not None else ()


def _svg(draw: Callable[[Analysis, Any], str], analysis: Analysis, height_cm: float) -> Drawn | None:
    picture = plots.figure(16.0, height_cm)
    with plots.house_style():
        alt = draw(analysis, picture.add_subplot())
    return Drawn(Markup(plots.svg(picture)), alt) if alt else None  # matplotlib escapes the texts in it


def _carbon(a: Analysis, ax: Any) -> str:
    into, out = a.carbon
    return plots.where_it_went(into, out, ax=ax) if out and nominal(into) > 0 else ""


def _limits(a: Analysis, ax: Any) -> str:
    return plots.against_limits(a.yields, ax=ax) if a.yields else ""


def _growth(a: Analysis, ax: Any) -> str:
    return plots.gas_curve(a.gas[0], a.growth, ax=ax)


def _calibration(a: Analysis, ax: Any) -> str:
    return plots.calibration(a.calibration, [reading for _, _, reading in a.samples], ax=ax) if a.calibration else ""


def _hold(a: Analysis, ax: Any) -> str:
    return plots.hold(a.hold, ax=ax) if a.hold else ""


def _moved(a: Analysis, ax: Any) -> str:
    return plots.moved(a.reconciliation, ax=ax) if a.reconciliation else ""


def _shares(a: Analysis, ax: Any) -> str:
    name = "yeast_yield" if "yeast_yield" in a.yields else next(iter(a.yields))
    return plots.shares(a.uncertainty_shares(name), ax=ax)


def _write_whole(path: Path, text: str) -> Path:
    """Write beside the target, then move into place: the old file whole, or the new file whole."""
    try:
        handle, name = tempfile.mkstemp(dir=path.parent or ".", prefix=f".{path.name}.", suffix=".tmp")
        try:
            with os.fdopen(handle, "w", encoding="utf-8") as file:
                file.write(text)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as problem:
        raise InputError(
            f"the report cannot be written to {str(path)!r}: {problem.strerror}",
            "a folder that exists and may be written to",
            "choose another place with -o",
        ) from None
    return path
