"""Takes one part after another out of a run, or spoils it, and sees what comes of it.

    python tests/benchmarks/leave_one_out.py [RUN ... [EVERY [PICTURES]]]

RUN is a folder of `sample_data`, or a kind of gas reading, such as "room air": a run with every key and column.
Every part is left out once: each section, key, item of a list, table, column, third of a table's rows; and each column
is emptied, its cells put to 0, below 0, beyond all reason and to a word. EVERY takes each so many-th case, PICTURES
draws them for each so many-th. A run may be analysed and reported, or refused with `InputError` and its three beats.
Anything else is printed: another exception, a result or picture that stumbled, a bare nan, a ± of nought.
"""

import copy
import csv
import logging
import re
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import fermkit as fk
from fermkit.basis.errors import DoubtfulResult, InputError
from fermkit.basis.written import Page, nominal
from fermkit.run import analysis
from fermkit.run.analysis import Analysis
from fermkit.run.steps import STEPS
from fermkit.show import report

TESTS = Path(__file__).resolve().parents[1]
SAMPLES = TESTS.parent / "sample_data"
SLOW = {"curves", "growth", "suspects", "blind", "next_measurements"}
"""Steps that are slow and that few parts reach: done with the pictures."""
SPOILT = {"emptied": "", "zero": "0", "below zero": "-3.7", "beyond reason": "4e9", "words": "about half"}
WRONG_VALUES = ["0 ± 0 g", "-5 ± 1 g", "1e30 ± 1 kg", "900 ± 1 %", "", "nan", 0, -1, True, [1], {"a": 1}]
Case = tuple[str, dict, dict]


def whole(name: str) -> tuple[dict, dict]:
    """Settings and tables of a sample run, or of the run that has everything."""
    folder = SAMPLES / name
    if not folder.is_dir():
        sys.path.insert(0, str(TESTS))
        import test_every_field as every

        return every.settings(name), every.tables(name)
    tables = {}
    for file in sorted(folder.glob("*.csv")):
        text = file.read_text(encoding="utf-8-sig")
        titles, *rows = csv.reader(text.splitlines(), delimiter=";" if ";" in text.split("\n")[0] else ",")
        tables[file.stem] = {title: [row[i] if i < len(row) else "" for row in rows] for i, title in enumerate(titles)}
    return tomllib.loads((folder / "run.toml").read_text(encoding="utf-8")), tables


def settings_without(part: dict, path: tuple = ()) -> Iterator[tuple]:
    """The path of every section, key and item of a list."""
    for key, value in part.items():
        yield (*path, key)
        if isinstance(value, dict):
            yield from settings_without(value, (*path, key))
        elif isinstance(value, list):
            for i, one in enumerate(value):
                yield (*path, key, i)
                if isinstance(one, dict):
                    yield from settings_without(one, (*path, key, i))


def at(part: dict, path: tuple) -> dict:
    """What holds the last step of a path."""
    for step in path[:-1]:
        part = part[step]
    return part


def left_out(settings: dict, tables: dict) -> Iterator[Case]:
    """The run less one part."""
    for path in settings_without(settings):
        less = copy.deepcopy(settings)
        del at(less, path)[path[-1]]
        yield f"without {'.'.join(map(str, path))}", less, tables
    for name, table in tables.items():
        yield f"without {name}.csv", settings, {other: tables[other] for other in tables if other != name}
        for title in table:
            less = {other: table[other] for other in table if other != title}
            yield f"without {name}: {title}", settings, tables | {name: less}
        rows = len(next(iter(table.values())))
        for third in range(3):
            start, stop = rows * third // 3, rows * (third + 1) // 3
            less = {title: cells[:start] + cells[stop:] for title, cells in table.items()}
            yield f"without {name}, third {third + 1}", settings, tables | {name: less}
        yield f"{name}: first row alone", settings, tables | {name: {t: cells[:1] for t, cells in table.items()}}
        yield f"{name}: no rows", settings, tables | {name: {t: [] for t in table}}


def spoilt(settings: dict, tables: dict) -> Iterator[Case]:
    """The run with one value that cannot be."""
    for path in settings_without(settings):
        if isinstance(at(settings, path)[path[-1]], dict | list):
            continue
        for value in (*WRONG_VALUES, *(replaced(at(settings, path)[path[-1]]))):
            wrong = copy.deepcopy(settings)
            at(wrong, path)[path[-1]] = value
            yield f"{'.'.join(map(str, path))} = {value!r}", wrong, tables
    for name, table in tables.items():
        for title, cells in table.items():
            for how, cell in SPOILT.items():
                yield f"{name}: {title}: {how}", settings, tables | {name: table | {title: [cell] * len(cells)}}
            last = table | {title: [*cells[:-1], "-1e6"]}
            yield f"{name}: {title}: last wild", settings, tables | {name: last}


def replaced(value: object) -> list[str]:
    """The same text with its first number grown, shrunk, turned round, and with its ± beyond all bounds."""
    if not isinstance(value, str) or not re.search(r"\d", value):
        return []
    out = [re.sub(r"\d[\d.]*", number, value, count=1) for number in ("0", "-3", "1e12", "1e-12", "101", "700")]
    return out + [re.sub(r"± ?[\d.]+", f"± {u}", value) for u in ("0", "1e9", "1e-9") if "±" in value]


class Stumbles(logging.Handler):
    """What the kit notes where one result or picture fails by a mistake of its own."""

    def __init__(self) -> None:
        super().__init__(logging.DEBUG)
        self.seen: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        """Keep it."""
        if record.exc_info:
            problem = record.exc_info[1]
            frame = problem.__traceback__
            while frame.tb_next:
                frame = frame.tb_next
            place = f"{Path(frame.tb_frame.f_code.co_filename).name}:{frame.tb_lineno}"
            self.seen.append(f"{record.getMessage()}: {type(problem).__name__} at {place}: {problem}"[:200])


def pages(page: Page) -> Iterator[Page]:
    """A page and those within it."""
    yield page
    for part in page.parts:
        yield from pages(part)


def bare(found: Analysis) -> list[str]:
    """Lines whose ± is nought, or whose limits are no interval."""
    out = []
    for name, one in found.sections():
        for page in pages(one):
            for line in page.lines:
                u = getattr(line.value, "std_dev", None)
                if u is not None and u == 0 and nominal(line.value) != 0:
                    out.append(f"{name}: {line.name}: no ±")
                if line.limits is not None and not line.limits[0] <= line.limits[1]:
                    out.append(f"{name}: {line.name}: limits {line.limits}")
    return out


def tried(settings: dict, tables: dict, *, pictures: bool = False) -> tuple[str, list[str]]:
    """What came of a run, and what must not have."""
    stumbles, log = Stumbles(), logging.getLogger("fermkit")
    level, drawn, steps, hours = log.level, report._drawn, analysis.STEPS, report.timeline_or_why
    log.addHandler(stumbles)
    log.setLevel(logging.DEBUG)
    log.propagate = False
    if not pictures:
        report._drawn = lambda *_: None
        report.timeline_or_why = lambda _: (None, "")
        analysis.STEPS = tuple(step for step in STEPS if step.name not in SLOW)
    try:
        found = fk.analyse(fk.run_from(settings, tables), curve="best" if pictures else "gompertz")
        html = report.html_report(found)
        wrong = bare(found)
        text = re.sub(r"<svg.*?</svg>|<style.*?</style>", "", html, flags=re.S)
        named = settings.get("run", {}) if isinstance(settings.get("run"), dict) else {}
        text = "" if "nan" in named.values() else text  # a run may be called so
        wrong += [f"on the page: {text[max(0, m.start() - 40):m.end() + 20]!r}"
                  for m in re.finditer(r"(?<!;)\b(nan|inf)\b(?!&)", text)]  # fmt: skip
        return "analysed", wrong + stumbles.seen
    except InputError as problem:
        whole = problem.met and problem.needed and problem.do
        return "refused", [] if whole else [f"without its three beats: {problem!r}"]
    except DoubtfulResult:
        raise
    except Exception as problem:
        frame = problem.__traceback__
        while frame.tb_next:
            frame = frame.tb_next
        place = f"{Path(frame.tb_frame.f_code.co_filename).name}:{frame.tb_lineno}"
        return "ended", [f"{type(problem).__name__} at {place}: {problem}"[:200], *stumbles.seen]
    finally:
        report._drawn, analysis.STEPS, report.timeline_or_why = drawn, steps, hours
        log.removeHandler(stumbles)
        log.setLevel(level)
        log.propagate = True


def main(names: list[str], every: int, pictures: int, *, also_spoilt: bool = True) -> int:
    """Try every case of these runs; how many were not as they must be."""
    odd = 0
    for name in names:
        settings, tables = whole(name)
        counts: Counter[str] = Counter()
        slowest, begun = 0.0, time.process_time()
        cases = [*left_out(settings, tables), *(spoilt(settings, tables) if also_spoilt else ())]
        for i, (what, less, rows) in enumerate(cases[::every]):
            start = time.process_time()
            end, wrong = tried(copy.deepcopy(less), rows, pictures=pictures > 0 and i % pictures == 0)
            slowest = max(slowest, time.process_time() - start)
            counts[end] += 1
            for one in dict.fromkeys(wrong):
                print(f"  {what}: {one}", flush=True)
            odd += bool(wrong)
        took = time.process_time() - begun
        print(f"{name}: {sum(counts.values())} of {len(cases)} cases: {dict(counts)}; slowest {slowest:.1f} s; "
              f"{took:.0f} s of the processor; unexpected so far: {odd}", flush=True)  # fmt: skip
    return odd


if __name__ == "__main__":
    given = [one for one in sys.argv[1:] if not one.isdecimal()]
    sizes = [int(one) for one in sys.argv[1:] if one.isdecimal()]
    runs = given or [*(one.name for one in sorted(SAMPLES.iterdir()) if one.is_dir()), "collected volume", "room air"]
    sys.exit(main(runs, *([*sizes, 1, 0][: max(2, len(sizes))] if len(sizes) != 1 else [sizes[0], 0])) > 0)
