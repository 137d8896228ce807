"""An analysis as one self-contained HTML page: pictures, tables, verdict, cautions, provenance.

Nothing is fetched and no script runs; all text from the run is escaped. The file appears whole
or not at all, and the same run gives the same bytes.
"""

import logging
import os
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path
from typing import Any, Final

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


Draw = Callable[[Any, Analysis, Any], str]
"""From a result, the analysis and a pair of axes to the words that go with the picture."""


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
        front=_drawn(lambda ax: _carbon(analysis, ax), 9.5),
        cautions=analysis.cautions.sentences(),
        sections=_sections(analysis),
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


def _sections(analysis: Analysis) -> list[tuple[Page, Drawn | None]]:
    """Every page with the picture of its result, which the first page of the result carries."""
    drawn: set[str] = set()
    out = []
    for name, page in analysis.sections():
        picture = None
        if name in PICTURES and name not in drawn:
            drawn.add(name)
            picture = _drawn(partial(_by_name, name, analysis))
        out.append((page, picture))
    return out


def _by_name(name: str, analysis: Analysis, ax: Any) -> str:
    return PICTURES[name](getattr(analysis, name), analysis, ax)


def _drawn(draw: Callable[[Any], str], height_cm: float = 8.0) -> Drawn | None:
    """A picture, or None where there is nothing to draw; one that cannot be drawn costs itself only."""
    picture = plots.figure(16.0, height_cm)
    try:
        with plots.house_style():
            alt = draw(picture.add_subplot())
    except Exception:  # the numbers stand without it; the log has the way through the code
        logging.getLogger("fermkit").debug("a picture failed", exc_info=True)
        return None
    return Drawn(Markup(plots.svg(picture)), alt) if alt else None  # matplotlib escapes the texts in it


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
