# ruff: noqa: E501, SIM105
"""Hostile acts that no fuzzer comes upon: huge files, bombs, injected formulas and markup, paths, full disks, kills.

    python tests/benchmarks/hostile_acts.py

Each act prints what was tried, how often, and the worst that came of it; the exit code counts what went wrong.
Reading is done in a process of its own, with 2 GB of address space at most. A full disk is a tmpfs of 64 kB where it
may be mounted (Linux, root); elsewhere a limit on the size of files stands in.
"""

import csv
import io
import os
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

from fermkit.run.writing import write_workbook

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data"
NASTY = [
    "=1+1", "+A1", "-A1+2", "@SUM(A1)", "=cmd|' /C calc'!A0", "\t=1", "\r=1", "\n=1", " =1", "＝1+1", "%=1", "'=1",
    '"=1', ";=1", "<script>alert(1)</script>", "</title><script>x</script>", "<img src=x onerror=alert(1)>",
    '" onmouseover="alert(1)', "{{ 7*7 }}", "{% include 'x' %}", "javascript:alert(1)", "&lt;b&gt;", "]]><svg/onload=x>",
    "<!--", "--><b>", "$x^2$ \\frac{1}{", "$$", "../../etc/passwd", "\u202egnp.exe", "\x00", "a" * 5000,
]  # fmt: skip


def limited() -> None:
    """At most 2 GB of address space in a child."""
    resource.setrlimit(resource.RLIMIT_AS, (2_000_000_000, 2_000_000_000))


READ = """
import resource, sys, time
import fermkit as fk
from fermkit.basis.errors import InputError
fk.read_run(sys.argv[2])  # everything imported and warm
base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
start = time.perf_counter()
try:
    fk.read_run(sys.argv[1]); how = "read"
except InputError as problem:
    how = "refused: " + str(problem).splitlines()[0][:70]
print(f"{time.perf_counter() - start:.2f}|{(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss) / 1024:.0f}|{how}")
"""


def read_apart(place: Path) -> tuple[float, float, str]:
    """Seconds, peak memory of the process [MB] and how it went, in a limited process."""
    good = str(SAMPLES / "jar_3_closes")
    done = subprocess.run(
        [sys.executable, "-c", READ, str(place), good], capture_output=True, text=True, preexec_fn=limited
    )
    if done.returncode:
        return 0.0, 0.0, "BROKE: " + done.stderr.strip().splitlines()[-1][:90]
    seconds, held, how = done.stdout.strip().split("|", 2)
    return float(seconds), float(held), how


def run_folder(place: Path, **tables: bytes) -> Path:
    """A small run folder."""
    place.mkdir(parents=True)
    (place / "run.toml").write_text('[[gas]]\nkind = "collected volume"\n', encoding="utf-8")
    for name, data in tables.items():
        (place / f"{name}.csv").write_bytes(data)
    return place


def huge_tables(place: Path) -> list[tuple[str, int, str, bool]]:
    """CSV files of 500 MB: even, uneven, one line, one cell."""
    header = b"time [h],volume [mL]\n"
    row = b"0.000001,12345.678\n"
    kinds = {
        "500 MB of even numbers": lambda f: [f.write(row * 100_000) for _ in range(263)],
        "500 MB in one line": lambda f: [f.write(b"1," * 1_000_000) for _ in range(250)],
        "500 MB in one quoted cell": lambda f: [f.write(b'"'), *(f.write(b"x" * 5_000_000) for _ in range(100))],
        "500 MB of zeros": lambda f: [f.write(bytes(5_000_000)) for _ in range(100)],
        "60 MB, uneven": lambda f: [f.write(row * 50_000 + b"x;y\n") for _ in range(63)],
    }
    out = []
    for name, fill in kinds.items():
        folder = run_folder(place / name.replace(" ", "_"), gas=header)
        with (folder / "gas.csv").open("ab") as file:
            fill(file)
        seconds, held, how = read_apart(folder)
        shutil.rmtree(folder)
        out.append(
            (
                f"CSV: {name}",
                1,
                f"{seconds:.2f} s, {held:.0f} MB, {how}",
                how.startswith("BROKE") or held > 1000 or seconds > 1.0,
            )
        )
    return out


def bombs(place: Path) -> list[tuple[str, int, str, bool]]:
    """Workbooks that unpack to far more than they weigh, or hide what should not be there."""
    with zipfile.ZipFile(SAMPLES / "jar_3_closes.xlsx") as book:
        good = {name: book.read(name) for name in book.namelist()}
    sheet, run = "xl/worksheets/sheet5.xml", "xl/worksheets/sheet1.xml"
    namespace = b"http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    rows = b"".join(b"<row r='%d'><c r='A%d'><v>1</v></c></row>" % (i, i) for i in range(1, 200_001))
    kinds: dict[str, dict[str, bytes]] = {
        "1 GB of zeros beside": {"xl/media/a.xml": bytes(1_000_000_000)},
        "1 GB of zeros as a sheet": {sheet: bytes(1_000_000_000)},
        "200,000 rows": {sheet: b"<worksheet xmlns='http://schemas.openxmlformats.org/spreadsheetml/2006/main'><sheetData>"
                         + rows + b"</sheetData></worksheet>"},
        "100,000 elements inside one another": {sheet: b"<a>" * 100_000 + b"</a>" * 100_000},
        "a billion laughs": {run: b'<!DOCTYPE x [<!ENTITY a "ha"><!ENTITY b "&a;&a;">]><x>&b;</x>'},
        "an external entity": {run: b'<!DOCTYPE x [<!ENTITY a SYSTEM "file:///etc/passwd">]><x>&a;</x>'},
        "a million attributes": {sheet: b"<a " + b" ".join(b"a%d='1'" % i for i in range(300_000)) + b"/>"},
        "macros": {"xl/vbaProject.bin": b"Sub Auto_Open()"},
        "an external link": {"xl/externalLinks/externalLink1.xml": b"<externalLink/>"},
        "a path that climbs out": {"../../evil.txt": b"x"},
        "5,000 parts": {f"x{i}.xml": b"" for i in range(5000)},
        "46 MB of attributes": {sheet: b"<a>" + (b"<x " + b" ".join(b"a%d='1'" % i for i in range(20)) + b"/>") * 300_000 + b"</a>"},
        "57 MB of text": {sheet: b"<a>" + (b"<t>" + b"x" * 190_000 + b"</t>") * 300 + b"</a>"},
        "160,000 fonts": {"xl/styles.xml": b"<styleSheet xmlns='" + namespace + b"'><fonts>" + b"<font><sz val='1'/></font>" * 160_000
                          + b"</fonts></styleSheet>"},
        "a long formula in 1,000 cells": {sheet: b"<worksheet xmlns='" + namespace + b"'><sheetData><row><c r='A1'><f t='shared' si='0'>"
                                          + b"+".join([b"B1"] * 3000) + b"</f></c></row>"
                                          + b"<row><c r='A2'><f t='shared' si='0'/></c></row>" * 1000 + b"</sheetData></worksheet>"},
        "a thousand sheets in one part": {"xl/workbook.xml": good["xl/workbook.xml"].replace(b"</sheets>", b"".join(
            b'<sheet name="s%d" sheetId="%d" state="visible" r:id="rId2" />' % (i, i) for i in range(100, 1100)) + b"</sheets>")},
        "18,000 rows of two columns": {sheet: b"<worksheet xmlns='" + namespace + b"'><sheetData>" + b"".join(
            b"<row r='%d'><c r='A%d'><v>1</v></c><c r='B%d'><v>2</v></c></row>" % (i, i, i) for i in range(1, 18_001))
            + b"</sheetData></worksheet>"},
    }  # fmt: skip
    out = []
    for name, parts in kinds.items():
        path = place / "bomb.xlsx"
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as new:
            for part, data in (good | parts).items():
                new.writestr(part, data)
        seconds, held, how = read_apart(path)
        bad = how.startswith("BROKE") or held > 1000 or seconds > 1.0
        out.append(
            (f"workbook: {name}", 1, f"{path.stat().st_size / 1e6:.1f} MB: {seconds:.2f} s, {held:.0f} MB, {how}", bad)
        )
    return out


def injected_formulas(place: Path) -> list[tuple[str, int, str, bool]]:
    """Every nasty text as a name, note, item and sample, through every file that we write."""
    import openpyxl

    import fermkit as fk
    from fermkit.basis.errors import InputError
    from fermkit.show.exports import write_json, write_results

    tried = acting = refused = 0
    for i, text in enumerate(NASTY):
        settings = {"run": {"name": text, "note": text, "invented": True},
                    "feed": [{"ingredient": "white sugar", "amount": "10 ± 1 g"}]}  # fmt: skip
        tables = {"weights": {"item": ["paste", text], "tare [g]": ["1.0", "1.0"], "wet [g]": ["5", "2"],
                              "dry [g]": ["2", "1.5"], "note": [text, "x"]}}  # fmt: skip
        here = place / str(i)
        here.mkdir()
        try:
            folder = fk.write_run(settings, tables, here / "run")
            books = [write_workbook(settings, tables, here / "run.xlsx")]
            analysis = fk.analyse(fk.read_run(folder))
            books.append(write_results(analysis, here / "results.xlsx"))
            write_json(analysis, here / "results.json")
        except InputError:
            refused += 1
            continue
        for book in books:
            for sheet in openpyxl.load_workbook(book):
                cells = [cell for row in sheet.iter_rows() for cell in row if cell.value is not None]
                tried += len(cells)
                acting += sum(cell.data_type == "f" for cell in cells)
        for path in folder.glob("*.csv"):
            for row in csv.reader(io.StringIO(path.read_text(encoding="utf-8"))):
                tried += len(row)
                acting += sum(cell[:1] in "=+-@\t\r" and not _is_number(cell) for cell in row if cell)
    return [
        ("formulas injected into CSV and workbooks", tried, f"{acting} cells act; {refused} texts refused", acting > 0)
    ]


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


class Tags(HTMLParser):
    """Which tags, attributes and addresses a page holds."""

    def __init__(self) -> None:
        super().__init__()
        self.bad: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Keep what should not be there."""
        if tag in {
            "script",
            "img",
            "iframe",
            "object",
            "embed",
            "link",
            "base",
            "form",
            "input",
            "a",
            "audio",
            "video",
        }:
            self.bad.append(tag)
        self.bad += [
            f"{tag} {name}" for name, value in attrs if name.startswith("on") or "javascript:" in (value or "")
        ]


def injected_markup() -> list[tuple[str, int, str, bool]]:
    """Every nasty text where a report shows texts of the run."""
    from dataclasses import replace

    import fermkit as fk
    from fermkit.show.report import html_report

    analysis = fk.analyse(fk.read_run(SAMPLES / "jar_3_closes"))
    bad: list[str] = []
    tried = 0
    for text in NASTY:
        run = replace(
            analysis.run, name=text, note=text, date=text, findings=(text,),
            sources=tuple(replace(s, file=text) for s in analysis.run.sources),
        )  # fmt: skip
        sample = tuple(replace(s, name=text) for s in analysis.samples)
        reader = Tags()
        reader.feed(html_report(replace(analysis, run=run, samples=sample, gaps=(text,))))
        bad += reader.bad
        tried += 7
    return [
        (
            "markup in names, notes, dates, files, samples",
            tried,
            f"came through: {sorted(set(bad)) or 'nothing'}",
            bool(bad),
        )
    ]


def climbing_paths(place: Path) -> list[tuple[str, int, str, bool]]:
    """Tables, links and names that lead out of the folder; an audit hook sees which files are opened."""
    import fermkit as fk
    from fermkit.basis.errors import InputError

    secret = place / "secret.csv"
    secret.write_text("time [h],volume [mL]\n0,0\n1,5\n2,9\n3,11\n", encoding="utf-8")
    opened: list[str] = []
    sys.addaudithook(lambda event, args: opened.append(str(args[0])) if event == "open" else None)
    ways = ["../secret", "../secret.csv", str(secret), str(secret.with_suffix("")), "..\\secret", "a/../../secret",
            "./../secret", "%2e%2e/secret", "secret\x00", "~/secret", "file:///etc/passwd", "//etc/passwd", "/dev/zero", "gas/../../secret"]  # fmt: skip
    read = 0
    for i, way in enumerate(ways):
        folder = place / f"run{i}"
        folder.mkdir()
        written = way.replace("\\", "\\\\").replace("\x00", "\\u0000")
        (folder / "run.toml").write_text(f'[[gas]]\nkind = "collected volume"\ntable = "{written}"\n', encoding="utf-8")
        try:
            read += bool(fk.read_run(folder).tables)
        except InputError:
            pass
    for i, target in enumerate([secret, Path("/etc/passwd"), Path("/dev/zero"), place]):
        folder = run_folder(place / f"link{i}")
        (folder / "gas.csv").symlink_to(target)
        try:
            read += bool(fk.read_run(folder).tables)
        except InputError:
            pass
    outside = [name for name in opened if "secret" in name or name.startswith(("/etc/passwd", "/dev/zero"))]
    said = f"{read} tables read from outside, {len(outside)} files opened outside"
    return [("paths and links that climb out", len(ways) + 4, said, read > 0 or bool(outside))]


WRITE = """
import sys, resource, fermkit as fk
from fermkit.basis.errors import InputError
if sys.argv[3] != "0":
    import signal
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]),) * 2)
analysis = fk.analyse(fk.read_run(sys.argv[1]))
print("ready", flush=True)
while True:
    try:
        fk.write_report(analysis, sys.argv[2])
        print("written", flush=True)
    except InputError as problem:
        print("refused:", str(problem).splitlines()[0], flush=True)
    if len(sys.argv) < 5:
        break
"""


def full_and_closed_disks(place: Path) -> list[tuple[str, int, str, bool]]:
    """A report on a disk of 64 kB, and into a place that may only be read: the old report stays."""
    out = []
    small = place / "small"
    small.mkdir()
    mounted = (
        subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(small)], capture_output=True).returncode
        == 0
    )
    kinds = [("a full disk (tmpfs of 64 kB)" if mounted else "files of 64 kB at most", "0" if mounted else "65536")]
    if mounted:
        kinds.append(("a disk that may only be read", "read only"))
    for what, limit in kinds:
        old = small / "report.html"
        if limit != "read only":
            old.write_text("<p>old</p>", encoding="utf-8")
        else:
            subprocess.run(["mount", "-o", "remount,ro", str(small)], check=True, capture_output=True)
        done = subprocess.run([sys.executable, "-c", WRITE, str(SAMPLES / "jar_3_closes"), str(old), limit if limit.isdigit() else "0"],
                              capture_output=True, text=True)  # fmt: skip
        said = done.stdout.strip().splitlines()[-1][-60:] if done.stdout.strip() else done.stderr[-80:]
        left = sorted(path.name for path in small.iterdir())
        kept = old.read_text(encoding="utf-8") == "<p>old</p>" and left == ["report.html"]
        out.append(
            (
                what,
                1,
                f"{said}; the old report {'stays, nothing beside it' if kept else 'IS LOST'}",
                not (kept and "refused" in done.stdout),
            )
        )
    if mounted:
        subprocess.run(["umount", str(small)], check=False)
    return out


STOPPED = """
import sys, time
import fermkit as fk
from fermkit.show.report import write_whole

def stop(event, args):
    begun = event == "open" and str(args[0]).endswith(".tmp")
    if {"begun": begun, "closed": event == "os.chmod", "moving": event == "os.rename"}.get(sys.argv[1]):
        print("here", flush=True)
        time.sleep(600)

if sys.argv[1] == "half":
    print("here", flush=True)
    from pathlib import Path
    write_whole(Path(sys.argv[3]), b"<html>" + b"0123456789" * 20_000_000 + b"</html>")
else:
    analysis = fk.analyse(fk.read_run(sys.argv[2]))
    sys.addaudithook(stop)
    fk.write_report(analysis, sys.argv[3])
"""


def kills(place: Path, times: int = 10) -> list[tuple[str, int, str, bool]]:
    """kill -9 inside the write: the writer is stopped, or 200 MB are under way, when the kill arrives."""
    import fermkit as fk

    out = []
    for moment, when in (
        ("begun", "on the point of opening the file"), ("half", "in the middle of 200 MB"),
        ("closed", "all written, not yet moved"), ("moving", "on the point of moving"),
    ):  # fmt: skip
        run = shutil.copytree(SAMPLES / "jar_3_closes", place / moment)
        target, inside, torn, findings = run / "report.html", 0, 0, fk.read_run(run).findings
        for _ in range(times):
            target.write_text("<p>old</p>", encoding="utf-8")
            for part in run.glob(".report.html.*"):  # only the last leftover stays
                part.unlink()
            command = [sys.executable, "-c", STOPPED, moment, str(SAMPLES / "jar_3_closes"), str(target)]
            with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as writer:
                assert writer.stdout is not None and writer.stdout.readline() == "here\n"
                while moment == "half" and not any(part.stat().st_size for part in run.glob(".report.html.*")):
                    time.sleep(0.001)
                writer.send_signal(signal.SIGKILL)
            torn += target.read_text(encoding="utf-8") != "<p>old</p>"
            if moment == "half":
                (part,) = run.glob(".report.html.*")
                inside += 0 < part.stat().st_size < 200_000_000
            else:
                inside += 1
        left = len(list(run.glob(".report.html.*")))
        unmoved = fk.read_run(run).findings == findings
        fk.write_report(fk.analyse(fk.read_run(run)), target)
        again = target.read_text(encoding="utf-8").rstrip().endswith("</html>")
        said = f"{inside} kills within the write: the old report whole {times - torn} times; {left} hidden leftover beside "
        said += (
            f"it {'does not' if unmoved else 'DOES'} change the run; the next report is {'whole' if again else 'TORN'}"
        )
        out.append((f"kill -9, {when}", times, said, torn > 0 or inside < times or not (unmoved and again)))
    return out


def nothing_dangerous() -> list[tuple[str, int, str, bool]]:
    """No pickle, eval, exec, network or shell anywhere in the package, by its syntax."""
    import ast

    package = SAMPLES.parent / "fermkit"
    banned_calls = {"eval", "exec", "compile", "__import__", "system", "popen"}
    banned_modules = {
        "pickle",
        "marshal",
        "shelve",
        "socket",
        "urllib",
        "http",
        "requests",
        "ftplib",
        "subprocess",
        "ctypes",
    }
    found, files = [], 0
    for path in package.rglob("*.py"):
        files += 1
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else ""
                found += [f"{path.name}: {name}()"] if name in banned_calls else []
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found += [f"{path.name}: {name}" for name in names if name.split(".")[0] in banned_modules]
    return [("pickle, eval, network, shell in the package", files, ", ".join(found) or "none", bool(found))]


def main() -> int:
    """All acts; how many went wrong."""
    acts: list[Callable[[], list[tuple[str, int, str, bool]]]]
    with tempfile.TemporaryDirectory() as temporary:
        place = Path(temporary)

        def inside(name: str) -> Path:
            (place / name).mkdir()
            return place / name

        acts = [
            nothing_dangerous, lambda: injected_formulas(inside("a")), injected_markup, lambda: climbing_paths(inside("b")),
            lambda: bombs(inside("c")), lambda: full_and_closed_disks(inside("d")), lambda: kills(inside("e")),
            lambda: huge_tables(inside("f")),
        ]  # fmt: skip
        wrong = 0
        print("| what was tried | times | what came of it | |\n|---|--:|---|---|")
        for act in acts:
            for what, times, said, bad in act():
                wrong += bad
                print(f"| {what} | {times} | {said.replace('|', '/')} | {'WRONG' if bad else 'held'} |", flush=True)
    return wrong


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(main())
