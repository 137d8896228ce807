"""An analysis for other programs: JSON with units in the keys, and a workbook with the same numbers.

JSON, schema 1: ``run`` (name, date, invented), ``state``, ``stage``, ``first`` (what must be said first), ``answer``,
``verdict``, ``consistent`` (true, false, null), ``estimate`` (by name: ``value``, ``low``, ``high``, ``unit``,
``mark``), ``yields`` (by name: ``per_g_hexose_g``, ``u_g``, ``low95_g``, ``high95_g``, ``share_of_limit``, ``mark``,
…), ``sections`` (each step: heading, lines with name, value, u, unit, low, high, note; remarks), ``advice``, ``gaps``,
``findings``, ``sources`` (file, rows, sha256), ``fermkit`` (version).
"""

import json
import math
from pathlib import Path
from typing import Any

import fermkit
from fermkit.basis.files import write_whole
from fermkit.basis.shown import UNSHOWABLE
from fermkit.basis.written import Page, nominal, uncertainty
from fermkit.batch.estimate import Answer
from fermkit.run.analysis import Analysis
from fermkit.run.writing import workbook_bytes
from fermkit.show.report import sources

SCHEMA = 1


def as_data(analysis: Analysis) -> dict[str, Any]:
    """The analysis as plain numbers and texts, ready for JSON.

    Parameters
    ----------
    analysis : Analysis

    Returns
    -------
    dict
        As described at the top of this module; a number that is not known is None, never NaN.
    """
    run = analysis.run
    return {
        "schema": SCHEMA,
        "fermkit": fermkit.__version__,
        "run": {"name": run.name, "date": run.date, "note": run.note, "invented": run.invented},
        "state": analysis.run.state or None,
        "stage": None if analysis.progress is None else analysis.progress.stage.name.lower(),
        "first": list(analysis.first_words),
        "answer": analysis.answer,
        "verdict": analysis.verdict,
        "consistent": analysis.consistent,
        "estimate": {key: _answer(found) for key, found in (analysis.estimate or {}).items()},
        "yields": {name: _yield(found) for name, found in analysis.yields.items()},
        "sections": [_page(page) for _, page in analysis.sections()],
        "advice": list(analysis.advice),
        "gaps": list(analysis.gaps),
        "findings": [str(finding) for finding in run.findings],
        "cautions": list(analysis.cautions.sentences()),
        "sources": [{"file": s.file, "rows": s.rows, "sha256": s.sha256} for s in run.sources],
    }


def write_json(analysis: Analysis, path: str | Path) -> Path:
    """Write the analysis as JSON, whole or not at all.

    Parameters
    ----------
    analysis : Analysis
    path : str or Path

    Returns
    -------
    Path
    """
    text = json.dumps(as_data(analysis), indent=1, ensure_ascii=False, allow_nan=False)
    text = UNSHOWABLE.sub(lambda sign: f"\\u{ord(sign[0]):04x}", text) + "\n"  # as JSON writes such signs
    return write_whole(path, text.encode(), read={source.sha256 for source in sources(analysis)})


def write_results(analysis: Analysis, path: str | Path) -> Path:
    """Write results, data used, doubts and sources as one .xlsx workbook, whole or not at all.

    Parameters
    ----------
    analysis : Analysis
    path : str or Path

    Returns
    -------
    Path
    """
    data = as_data(analysis)
    results = [["section", "quantity", "value", "u", "unit", "low 95 %", "high 95 %", "note"]]
    for section in data["sections"]:
        results += [
            [section["heading"], *(line[key] for key in ("name", "value", "u", "unit", "low", "high", "note"))]
            for line in section["lines"]
        ]
    said = [("answer", data["answer"]), ("verdict", data["verdict"])]
    said += [(kind, text) for kind in ("advice", "gaps", "findings", "cautions") for text in data[kind]]
    said += [(section["heading"], text) for section in data["sections"] for text in section["remarks"]]
    sheets: dict[str, list[list[Any]]] = {
        "results": results,
        "said": [["about", "in words"], *map(list, said)],
        "sources": [["file", "rows", "SHA-256"], *([s["file"], s["rows"], s["sha256"]] for s in data["sources"])],
    }
    for name, frame in analysis.run.tables.items():
        sheets[f"data {name}"[:31]] = [list(frame.columns), *frame.astype(object).values.tolist()]
    return write_whole(path, workbook_bytes(sheets), read={source.sha256 for source in sources(analysis)})


def _answer(found: Answer) -> dict[str, Any]:
    return {
        "words": found.words,
        "value": _plain(found.value),
        "low": _plain(found.low),
        "high": _plain(found.high),
        "unit": found.unit,
        "mark": str(found.mark),
    }


def _yield(found: Any) -> dict[str, Any]:
    low, high = found.interval()
    return {
        "product": found.product,
        "per_g_hexose_g": _plain(nominal(found.per_g)),
        "u_g": _plain(uncertainty(found.per_g)),
        "low95_g": _plain(low),
        "high95_g": _plain(high),
        "per_sugar_carbon_mol": None if found.per_carbon is None else _plain(nominal(found.per_carbon)),
        "limit_g": _plain(nominal(found.limit)),
        "limit": found.limit_note,
        "mark": str(found.mark),
        "per_L_h_g": None if found.per_L_h is None else _plain(nominal(found.per_L_h)),
        "share_of_limit": _plain(nominal(found.share_of_limit)),
        "u_share_of_limit": _plain(uncertainty(found.share_of_limit)),
    }


def _page(page: Page) -> dict[str, Any]:
    lines = []
    for line in page.lines:
        words = isinstance(line.value, str)
        low, high = line.limits or (None, None)
        lines.append(
            {
                "name": line.name,
                "value": line.value if words else _plain(nominal(line.value)),
                "u": None if words else _plain(uncertainty(line.value)) or None,
                "unit": line.unit,
                "low": _plain(low),
                "high": _plain(high),
                "note": line.note,
            }
        )
    parts = [_page(part) for part in page.parts]
    return {"heading": page.heading, "lines": lines, "remarks": list(page.remarks), "parts": parts}


def _plain(value: float | None) -> float | None:
    """A finite number to ten digits, so that the last bits of a sum don't change the file; None otherwise."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.10g}")
