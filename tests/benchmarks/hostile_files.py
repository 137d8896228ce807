"""Throws spoilt files at the readers and counts what happens.

    python tests/benchmarks/hostile_files.py [SECONDS [SEED]]

Every file of the sample runs is cut, doubled, swapped, and sprinkled with bytes and tokens that have
broken readers before; run.toml, CSV tables and workbooks take turns. A reader may read or refuse with
`InputError`; anything else, and anything that takes more than a second, is printed with its input.
"""

import io
import random
import sys
import time
import zipfile
from collections import Counter
from pathlib import Path

from fermkit.basis.errors import InputError
from fermkit.basis.quantities import conversion
from fermkit.run.findings import Remarks
from fermkit.run.format import TABLES
from fermkit.run.settings import read_settings, read_toml
from fermkit.run.tables import read_table
from fermkit.run.workbooks import read_workbook

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data"
TOKENS = [
    b"=", b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b"'", b",", b";", b"\t", b"\r\n", b"\r", b"\n\n", b"[",
    b"]", b"(", b"nan", b"inf", b"-", b"1e999", b"1e-999", b"999999999999999999999", b"1.234,5", b"\xc2\xb1",
    b"%", b"\xc2\xb0C", b"25:61", b"2026-02-30 10:00", b"03/04/2026 10:00", b"2026-03-02T10:00:00+01:00",
    b"0001-01-01 00:00", b"9999-12-31 23:59", b"../../etc/passwd", b"{{", b"[[gas]]", b"[[[", b"\xe2\x88\x92",
    b"\xf0\x9f\x8d\x9e", b"0x10", b"1_000", b"#", b"1 to 2 %", b"46083.5", b"<3", b"am", b"23:59:59.999999999",
    b"99:99", b"__import__", b"<!DOCTYPE", b"&b;", b"1,000", b"\x1a", b"\xc3\x28",
]  # fmt: skip


def spoilt(data: bytes, rng: random.Random) -> bytes:
    """The same bytes after one to six accidents."""
    out = bytearray(data)
    for _ in range(rng.randint(1, 6)):
        at = rng.randrange(len(out) + 1)
        what = rng.randrange(6)
        if what == 0:
            out[at:at] = rng.choice(TOKENS)
        elif what == 1:
            out[at : at + rng.randint(1, 30)] = b""
        elif what == 2 and out:
            out[min(at, len(out) - 1)] = rng.randrange(256)
        elif what == 3:
            out[at : at + 8] = rng.choice(TOKENS)
        elif what == 4:
            start = rng.randrange(len(out) + 1)
            out[at:at] = out[start : start + rng.randint(1, 60)]
        else:
            del out[at:]
    return bytes(out)


def spoilt_workbook(data: bytes, rng: random.Random) -> bytes:
    """A workbook with one part spoilt inside, or spoilt as a whole."""
    if rng.random() < 0.3:
        return spoilt(data, rng)
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        names = old.namelist()
        chosen = rng.choice(names)
        for name in names:
            part = old.read(name)
            new.writestr(name, spoilt(part, rng) if name == chosen else part)
    return out.getvalue()


def cases() -> list[tuple[str, bytes]]:
    """Name and contents of every sample file, tables cut to their first lines so that each try is quick."""
    out = []
    for path in sorted(SAMPLES.rglob("*")):
        if path.suffix in (".csv", ".toml", ".xlsx"):
            data = path.read_bytes()
            out.append((path.name, data if path.suffix != ".csv" else b"\n".join(data.split(b"\n")[:12])))
    return out


def read(name: str, data: bytes) -> None:
    """One try with the reader that the file's name asks for."""
    if name.endswith(".csv"):
        table = name.removesuffix(".csv")
        read_table(data, name, TABLES.get(table, TABLES["gas"]))
    elif name.endswith(".toml"):
        read_settings(read_toml(data), Remarks(name))
    else:
        read_workbook(data, name)


def main(seconds: float, seed: int) -> int:
    """Tries until the time is up; the number of unexpected things."""
    rng = random.Random(seed)
    conversion("psi", "bar")  # the unit table is loaded once, on first use
    files = cases()
    counts: Counter[str] = Counter()
    slowest, odd = 0.0, 0
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        name, good = rng.choice(files)
        if name.endswith(".xlsx") and rng.random() < 0.95:
            continue
        data = spoilt_workbook(good, rng) if name.endswith(".xlsx") else spoilt(good, rng)
        start = time.perf_counter()
        kind = name.split(".")[-1]
        try:
            read(name, data)
            counts[f"{kind} read"] += 1
        except InputError as problem:
            counts[f"{kind} refused"] += 1
            if not (problem.met and problem.needed and problem.do):
                odd += 1
                print("a refusal without its three beats:", problem, data)
        except Exception as problem:
            odd += 1
            print(f"{name}: {type(problem).__name__}: {problem}\n  {data[:2000]!r}")
        took = time.perf_counter() - start
        slowest = max(slowest, took)
        if took > 1.0:
            odd += 1
            print(f"{name} took {took:.1f} s: {data[:500]!r}")
    print(f"{sum(counts.values())} tries: {dict(sorted(counts.items()))}; slowest {slowest:.3f} s; unexpected: {odd}")
    return odd


if __name__ == "__main__":
    given = sys.argv[1:]
    sys.exit(main(float(given[0]) if given else 60.0, int(given[1]) if len(given) > 1 else 1) > 0)
