"""A coverage-guided fuzzer (atheris) on everything that reads what people bring.

    python tests/benchmarks/fuzz_inputs.py TARGET [RUNS [SEED]]

TARGET is csv, toml, workbook, formula, quantity, mapping, jar, answers, marker or report.
atheris is no dependency of the tests: install it beside them. Each input may be read or refused with `InputError`
and its three beats. Anything else stops the run with its input printed: another exception, more than a second of
the processor for one input (or 30 s by the clock), more than 1 GB in all. Inputs start from the sample data and grow
by atheris' own mutations and by the accidents of `hostile_files`.
"""

import io
import logging
import random
import re
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable
from csv import reader as rows_of
from dataclasses import replace
from functools import cache
from pathlib import Path

import atheris

with atheris.instrument_imports(include=["fermkit"]):
    import fermkit as fk
    from fermkit.basis.errors import InputError
    from fermkit.basis.quantities import conversion, read_quantity
    from fermkit.matter.composition import atoms
    from fermkit.run.findings import Remarks
    from fermkit.run.format import TABLES
    from fermkit.run.own_files import own_files
    from fermkit.run.proposals import propose
    from fermkit.run.records import Source, run_from
    from fermkit.run.settings import read_settings, read_toml
    from fermkit.run.tables import read_table
    from fermkit.run.workbooks import read_sheets, read_workbook
    from fermkit.show import report as reporting
    from fermkit.show.report import html_report
    from fermkit.teach.answers import QUESTIONS, as_asked, read_answers
    from fermkit.teach.class_data import make_class
    from fermkit.teach.marking import mark
    from fermkit.teach.real_jars import _jar, blank_jars

sys.path.insert(0, str(Path(__file__).resolve().parent))
from hostile_files import SAMPLES, cases, spoilt

SLOW_S = 1.0
LAYOUTS = sorted(TABLES)


def csv(data: bytes) -> None:
    """A table; the first byte says which."""
    if data:
        name = LAYOUTS[data[0] % len(LAYOUTS)]
        read_table(data[1:], f"{name}.csv", TABLES[name])


def toml(data: bytes) -> None:
    """run.toml."""
    read_settings(read_toml(data), Remarks("run.toml"))


def workbook(data: bytes) -> None:
    """A workbook of which one part, named by the first byte, is replaced; or the file as a whole."""
    if data and data[0] % 8:
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as new:
            for name, part in PARTS.items():
                new.writestr(name, data[1:] if name == list(PARTS)[data[0] // 8 % len(PARTS)] else part)
        data = out.getvalue()
    read_workbook(data, "run.xlsx")


def formula(data: bytes) -> None:
    """A chemical formula."""
    atoms(data.decode("utf-8", "replace"))


def written_quantity(data: bytes) -> None:
    """A value with ± and unit, as in run.toml."""
    read_quantity(data.decode("utf-8", "replace"), "g", "amount")


def mapping(data: bytes) -> None:
    """A file of a person's own: what its columns may be is proposed, and it is read as proposed."""
    for proposal in propose(data, "log.csv"):
        written = dict(proposal.settings) | dict.fromkeys(proposal.asked, "mL")
        own = own_files({"tables": {proposal.table: written}}, {proposal.table: proposal.table}, Remarks("run.toml"))
        try:
            read_table(data, "log.csv", TABLES[proposal.table], dates="day first", own=own[proposal.table])
        except InputError as problem:
            assert problem.met and problem.needed and problem.do, problem


class Stumbled(logging.Handler):
    """Where one group's sheet fails by a mistake of ours, the kit notes it and goes on; here it ends the run."""

    def emit(self, record: logging.LogRecord) -> None:
        """Raise what was noted."""
        if record.exc_info:
            raise AssertionError(record.getMessage()) from record.exc_info[1]


def jar(data: bytes) -> None:
    """A group's sheet of a real jar in the class's workbook: a line is a row, tabs part its cells."""
    rows = [line.split("\t") for line in data.decode("utf-8", "replace").split("\n")]
    assert str(_jar("01", rows).notes), "no notes"


def answers(data: bytes) -> None:
    """A group's file of answers, each understood as the marker would."""
    path = Path(tempfile.gettempdir()) / f"fuzz_answers_{PROCESS}.txt"
    path.write_bytes(data)
    given = read_answers(path)
    for question in QUESTIONS:
        text = given.given.get(question.name)
        if text is not None:
            as_asked(text, question)
            given.number(question.name)


def marker(data: bytes) -> None:
    """The marking of a class of two whole: one group's file is spoilt, and nothing else may change."""
    (CLASS / "group_01" / "answers.txt").write_bytes(data)
    marks = mark(CLASS)
    one, other = marks.groups
    assert len(one.marks) == len(other.marks) and one.points <= one.of, "a mark is lost"
    assert [m.kind for m in other.marks] == OTHERS, "the other group's marks have changed"
    assert one.minutes >= 0 and str(marks) and str(one), "no page"
    marks.write(CLASS.parent / "marks")
    page = (CLASS.parent / "marks" / "feedback" / "group_01.html").read_text(encoding="utf-8").partition("<body>")[2]
    assert not re.search(r"(?i)<(script|img|svg|iframe|object|embed|link|form|a)[\s>/]", page), "markup came through"
    with (CLASS.parent / "marks" / "marks.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(rows_of(lines))
    assert len(rows) == 3 and len({len(row) for row in rows}) == 1, "the table of marks has lost its shape"
    acting = [cell for row in rows for cell in row if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    assert not acting, f"a cell acts: {acting[0]!r}"


def report(data: bytes) -> None:
    """Names, notes, dates, files, findings and gaps of a bare run, all the way to HTML without pictures."""
    marks = tags(page_of(data.decode("utf-8", "replace")[:300])) - plain_tags()
    if marks:
        raise AssertionError(f"markup came through: {marks}")


def page_of(words: str) -> str:
    """The report of a bare run that says these words wherever it can."""
    settings = {"run": {"name": words or "x", "note": words[::-1], "invented": True},
                "feed": [{"ingredient": "white sugar", "amount": "10 ± 1 g"}]}  # fmt: skip
    found = fk.analyse(run_from(settings, {}))
    run = replace(found.run, date=words, findings=(words,), sources=(Source(words, "0" * 64, 1),))
    return html_report(replace(found, run=run, gaps=(words,)))


@cache
def plain_tags() -> set[str]:
    """Those of a report whose words are plain."""
    return tags(page_of("x"))


def tags(page: str) -> set[str]:
    """The names of all tags."""
    return set(re.findall(r"<([A-Za-z!/?][A-Za-z0-9]*)", page))


def parts() -> dict[str, bytes]:
    """The parts of the sample workbook."""
    with zipfile.ZipFile(SAMPLES / "jar_3_closes.xlsx") as book:
        return {name: book.read(name) for name in book.namelist()}


PARTS = parts()
PROCESS = random.SystemRandom().randrange(10**9)
CLASS = Path(tempfile.gettempdir()) / f"fuzz_class_{PROCESS}" / "class"
OTHERS: list[str] = []


def a_class() -> None:
    """Two groups; the second has answered."""
    make_class(2, CLASS, faults=["leak"], secret=bytes(32))
    (CLASS / "group_02" / "answers.txt").write_text(FILLED, encoding="utf-8")
    OTHERS.extend(one.kind for one in mark(CLASS).groups[1].marks)


TARGETS: dict[str, Callable[[bytes], None]] = {
    "csv": csv, "toml": toml, "workbook": workbook, "formula": formula, "quantity": written_quantity,
    "mapping": mapping, "jar": jar, "answers": answers, "marker": marker, "report": report,
}  # fmt: skip


SHEET = """what went in
sugar put in [g]\t60 g white sugar
water [L]\t0.6
yeast put in [g]\t3
jar [L]\t1.0
closed with\tairlock
temperature [°C]\t22
sugar left [g/L]\t0
alcohol at the end [% vol]\t5.1
density before [kg/m3]\t1036
dry yeast [g]\t4
scale ± [g]\t0.5
readings
day\ttime\tweight [g]\tvolume [mL]\tnote
Monday\t10:00\t1012\t0\t
\t2 pm\t1008\t900\topened?
Tuesday\t9:00\t990\t\t
Friday\t9:00\t985\t\t
our answers
gas made [mol]\t0.6 ± 0.02 mol
lag [h]\t2
"""

FILLED = """group: 2
gas made [mol]: 1,2
largest rate [mmol/h]: 61 mmol/h
lag [h]: 3.4 ± 0.2
sugar [g]: 120
alcohol [g]: 50 g of ethanol
CO2 expected [g]: ...
yeast [g]: 5e0
carbon found [%]: 97 %
mistake: the leak
settled by: weigh the jar
measured: weigh the jar; read the barometer
mended gas made [mol]: 1.4
"""


def seeds(target: str) -> list[bytes]:
    """Inputs to begin with."""
    files = cases()
    if target == "csv":
        named = [(name.removesuffix(".csv"), data) for name, data in files if name.endswith(".csv")]
        return [bytes([LAYOUTS.index(name if name in LAYOUTS else "gas")]) + data for name, data in named]
    if target == "toml":
        return [data for name, data in files if name.endswith(".toml")]
    if target == "workbook":
        return [bytes([8 * i + 1]) + part for i, part in enumerate(PARTS.values())]
    if target == "formula":
        return [b"C6H12O6", b"CH1.8O0.5N0.2", b"(NH4)2HPO4", b"Fe2(SO4)3", b"C12H22O11"]
    if target == "quantity":
        return ["2.0 ± 0.1 kg".encode(), b"1,5 oz", b"0.5 to 1.5 g", "3 ± 5 %".encode(), b"10 g (95 %)"]
    if target == "mapping":
        return [b"when;Gas (ml);Temp\n02.03.2026 18:00;0,0;21\n02.03.2026 19:00;210,5;22\n",
                b"date,time,weight g\n3/4/26,6:00 pm,3516\n3/4/26,7:30 pm,3514.2\n",
                b"epoch\tpressure\n1772474400\t0.1\n",
                *(data for name, data in files if name.endswith(".csv"))]  # fmt: skip
    if target == "jar":
        rows = read_sheets(blank_jars(1), "class.xlsx")[0]
        blank = "\n".join("\t".join(row) for row in next(cells for name, cells in rows.items() if "1" in name))
        return [blank.encode(), SHEET.encode()]
    if target == "marker":
        blank = (CLASS / "group_01" / "answers.txt").read_bytes()
        return [FILLED.encode(), blank, b"mistake: <script>alert(1)</script>\nmeasured: =cmd|'/C calc'!A1\nlag: =1+1\n"]
    if target == "answers":
        blank = (SAMPLES.parent / "README.md").read_bytes()[:200]
        return [b"gas made: 1.2 mol\nlag: 3.4 h\nfault: leak\nsettled by: weigh the jar\n", blank]
    return [b"<script>alert(1)</script>", b"{{ 7*7 }}", "Jar 3 – Käse & Söhne".encode(), b"=cmd|'/C calc'!A1"]


def main(target: str, runs: int, seed: int) -> None:
    """Fuzz one target."""
    counts: Counter[str] = Counter()
    slowest = [0.0]
    aim = TARGETS[target]
    rng = random.Random(seed)
    begun = time.monotonic()

    def once(data: bytes) -> None:
        start = time.process_time()
        try:
            aim(data)
            counts["read"] += 1
        except InputError as problem:
            counts["refused"] += 1
            if not (problem.met and problem.needed and problem.do):
                raise AssertionError(f"a refusal without its three beats: {problem!r}") from None
        took = time.process_time() - start
        slowest[0] = max(slowest[0], took)
        if took > SLOW_S:
            raise AssertionError(f"{took:.2f} s for one input")
        if sum(counts.values()) % max(runs // 10, 1) == 0:
            share = f"{dict(counts)}; slowest {slowest[0]:.3f} s; {time.monotonic() - begun:.0f} s; rss {_held_MB()} MB"
            print(f"{target}: {sum(counts.values())} executions: {share}; unexpected: 0", flush=True)

    def accident(data: bytes, most: int, _seed: int) -> bytes:
        if rng.random() < 0.5:
            return atheris.Mutate(data, most)
        return spoilt(data, rng)[:most]

    if target == "marker":
        a_class()
    if target == "jar":
        logging.getLogger("fermkit").addHandler(Stumbled())
        logging.getLogger("fermkit").setLevel(logging.DEBUG)
    if target == "report":
        reporting._drawn = lambda *_: None
    conversion("psi", "bar")  # the unit table is loaded once, on first use
    with tempfile.TemporaryDirectory() as corpus:
        for i, data in enumerate(seeds(target)):
            (Path(corpus) / f"seed{i}").write_bytes(data)
        most = {"workbook": 11_000, "csv": 600, "toml": 2500, "answers": 3000, "marker": 21_000, "jar": 3000,
                "mapping": 600}.get(target, 300)  # fmt: skip
        options = [
            f"-runs={runs}",
            f"-max_len={most}",
            "-rss_limit_mb=1024",
            "-timeout=30",
            f"-seed={seed}",
            "-verbosity=0",
        ]
        atheris.Setup([sys.argv[0], *options, corpus], once, custom_mutator=accident)
        atheris.Fuzz()


def _held_MB() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 // 1_000_000


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 100_000, int(sys.argv[3]) if len(sys.argv) > 3 else 1)
