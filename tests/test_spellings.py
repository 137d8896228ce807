"""A run reads back the same in whatever accepted spelling, separator, encoding, sheet or folder it is written."""

import tempfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fermkit.basis.written import nominal
from fermkit.run.records import read_run

UNITS = {"mL": (1, "mL", "ml", "milliliter"), "L": (1000, "L", "l", "litre")}
TITLES = ("{name} [{unit}]", "{name} ({unit})", "{name} / {unit}", "{name} {unit}")
NAMES = ("volume", "Volume", "Gas", "gas volume", "collected")
TIMES = {
    "h": lambda h: f"{h:g}", "min": lambda h: f"{60 * h:g}",
    "clock": lambda h: f"{18 + int(h):02d}:{int(60 * h) % 60:02d}",
    "ISO": lambda h: f"2026-03-{2 + int(18 + h) // 24:02d} {int(18 + h) % 24:02d}:{int(60 * h) % 60:02d}",
    "German": lambda h: f"{2 + int(18 + h) // 24:02d}.03.2026 {int(18 + h) % 24:02d}:{int(60 * h) % 60:02d}",
    "epoch": lambda h: f"{1772474400 + 3600 * h:.0f}",
}  # fmt: skip
OWN = "Zylinder 1"


def number(value, decimal):
    """A number with the decimal sign that is asked for."""
    return f"{value:g}".replace(".", decimal)


@st.composite
def spelt(draw):
    """Readings, and one way of writing them down."""
    steps = draw(st.lists(st.integers(1, 40), min_size=4, max_size=8))
    hours = [sum(steps[:i]) / 4 for i in range(len(steps))]
    volumes = [0.5 + 10.25 * i + draw(st.integers(0, 9)) for i in range(len(steps))]
    way = draw(st.sampled_from(sorted(TIMES)))
    if way == "clock" and hours[-1] > 5:
        way = "ISO"
    return {
        "hours": hours, "volumes": volumes, "way": way,
        "separator": draw(st.sampled_from([";", "\t", "|", ","])), "decimal": draw(st.sampled_from([".", ","])),
        "unit": draw(st.sampled_from(sorted(UNITS))), "spelling": draw(st.integers(1, 3)),
        "title": draw(st.sampled_from(TITLES)), "name": draw(st.sampled_from(NAMES)), "own": draw(st.booleans()),
        "encoding": draw(st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])),
        "end": draw(st.sampled_from(["\n", "\r\n"])), "home": draw(st.sampled_from(["folder", "own book", "workbook"])),
        "litres": draw(st.sampled_from(["2.5 L", "2,5 L", "2500 mL", "2.5 l", "2.5 litre"])),
    }  # fmt: skip


def cells_of(case):
    """Header and rows as texts; numbers keep their sign of decimals."""
    factor, *spellings = UNITS[case["unit"]]
    unit = spellings[case["spelling"] - 1]
    title = f"{OWN} [{unit}]" if case["own"] else case["title"].format(name=case["name"], unit=unit)
    way = case["way"]
    times = [TIMES[way](hour) for hour in case["hours"]]
    if way in ("h", "min"):
        times = [one.replace(".", case["decimal"]) for one in times]
    time = f"time [{way}]" if way in ("h", "min") else "time"
    volumes = [number(volume / factor, case["decimal"]) for volume in case["volumes"]]
    return [[time, title], *map(list, zip(times, volumes))]


def written(case, place):
    """The run in the home, separator, encoding and spelling of the case."""
    rows = cells_of(case)
    keys = {"time": rows[0][0], "volume": rows[0][1]} if case["own"] else {}
    if case["home"] == "folder":
        if case["separator"] == "," and case["decimal"] == ",":
            rows = [[f'"{cell}"' for cell in row] for row in rows]
        text = case["end"].join(case["separator"].join(row) for row in rows) + case["end"]
        (place / "gas.csv").write_bytes(text.encode(case["encoding"]))
    else:
        book = openpyxl.Workbook()
        sheet = book.active
        sheet.title = "gas"
        for row in rows:
            sheet.append(row)
        if case["home"] == "workbook":
            about = book.create_sheet("run")
            about.append(["section", "key", "value"])
            about.append(["vessel", "liquid", case["litres"]])
            for key, title in keys.items():
                about.append(["tables gas", key, title])
            book.save(place / "run.xlsx")
            return place / "run.xlsx"
        book.save(place / "own.xlsx")
        keys = {"file": "own.xlsx"} | keys
    said = "".join(f'{key} = "{title}"\n' for key, title in keys.items())
    (place / "run.toml").write_text(f'[vessel]\nliquid = "{case["litres"]}"\n[tables.gas]\n{said}', "utf-8")
    return place


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
@given(case=spelt())
def test_every_spelling_reads_the_same(case):
    """Hours from the first reading, millilitres and litres are those that were meant."""
    with tempfile.TemporaryDirectory() as place:
        run = read_run(written(case, Path(place)))
    gas = run.tables["gas"]
    assert gas["time_h"].tolist() == pytest.approx(case["hours"], abs=1e-3)
    assert gas["volume_mL"].tolist() == pytest.approx(case["volumes"], rel=1e-5)
    assert nominal(run.vessel.liquid_L) == 2.5
