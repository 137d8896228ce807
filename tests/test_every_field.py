"""Nothing is accepted and then ignored: each field of each section and each column moves a number, or is refused."""

import dataclasses
import re
import tomllib
import zlib
from collections.abc import Mapping
from enum import Enum
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fermkit.basis.errors import InputError
from fermkit.batch.readings import GAS_ROUTES
from fermkit.gas.curve import ACTS
from fermkit.run import analysis
from fermkit.run.batch_readings import ROUTES
from fermkit.run.fields import fields_of
from fermkit.run.first_page import READ_BY
from fermkit.run.format import ROWS, SECTIONS
from fermkit.run.gas_routes import released_by
from fermkit.run.records import run_from
from fermkit.run.sections_gas import GAS_KINDS
from fermkit.run.steps import STEPS

JAR = Path(__file__).resolve().parent.parent / "sample_data" / "jar_3_closes"
SLOW = {"read", "curves", "growth", "suspects", "blind", "next_measurements", "shares"}
"""Steps that are slow and read the run through the others alone."""

FREE = {"invented"}
"""Beside all free text: what marks the pages as practice."""

OWN_KIND = {
    "collected volume": {"collector_temperature": "22 ± 0.5 °C", "volume_factor": "1.00 ± 0.01", "u_reading": "3 mL",
                         "u_increment": "6 mL", "emptied": False, "loss_to_water": "0 to 2 %", "dry": False},
    "flow rate": {"collector_temperature": "22 ± 0.5 °C", "flow_factor": "1.00 ± 0.01", "u_reading": "20 mL/h",
                  "dry": False},
    "bubble count": {"collector_temperature": "22 ± 0.5 °C", "volume_per_bubble": "0.62 ± 0.02 mL",
                     "spread_of_bubble": "10 %", "dry": False},
    "vessel weight": {"u_reading": "0.5 g", "drift": "0.0 ± 0.01 g/h", "vapour": "0.9 to 1.1"},
    "pressure": {"pressure": "gauge", "u_reading": "0.01 bar"},
    "room air": {"u_reading": "30 ppm"},
}  # fmt: skip
HOURS = [0, 3, 6, 9, 12, 15, 18, 24, 36]
MADE = [0.0, 600.0, 3300.0, 8300.0, 15000.0, 23000.0, 27500.0, 28300.0, 28400.0]
LEVELS = {
    "collected volume": ("volume [mL]", MADE),
    "flow rate": ("flow [mL/h]", [0, 300, 1200, 2000, 2400, 2100, 900, 60, 5]),
    "bubble count": ("bubbles", [round(mL / 0.62) for mL in MADE]),
    "vessel weight": ("weight [g]", [3516.2 - mL * 0.00184 for mL in MADE]),
    "room air": ("co2 [ppm]", [450, 900, 4000, 9000, 16000, 21000, 20000, 12000, 3000]),
    "pressure": ("pressure [bar]", [0.0, 0.1, 0.4, 0.8, 1.4, 2.0, 2.4, 2.6, 2.62]),
}


def settings(kind="collected volume"):
    """The settings of jar 3 with every further key."""
    out = tomllib.loads((JAR / "run.toml").read_text(encoding="utf-8"))
    out["run"] |= {"start": "18:00", "dates": "day first", "state": "stopped"}
    out["vessel"] |= {"rated": "2.0 bar", "material": "steel"}
    out["feed"][1] |= {"time": "5 ± 0.1 h"}
    out["feed"].append({"ingredient": "white sugar", "amount": "30 ± 1 g", "time": "20 ± 0.1 h", "price": "1.2 ± 0.1"})
    assert kind in OWN_KIND and kind in LEVELS, f"{kind}: give its keys in OWN_KIND, its readings in LEVELS, here"
    out["gas"] = [{"kind": kind, **OWN_KIND[kind]}]
    out["ethanol"] |= {"content": "3.4 ± 0.2 % vol"}
    out["density"] |= {"reading_temperature": "24 ± 1 °C", "refractometer": "plain"}
    out["harvest"] |= {"paste": "20 ± 1 g dry", "extract": "9 ± 1 g dry", "debris": "8 ± 1 g dry", "ash": "6.5 ± 0.5 %",
                       "moisture_left": "2 ± 1 %", "share_harvested": "95 ± 1 %",
                       "paste_weighed": "after washing", "autolysate": "110 ± 3 mL", "salt": "2.0 ± 0.1 g"}  # fmt: skip
    out["yeast"] = {"square": "4.0 ± 0.1 nL", "cell_mass": "42 ± 5 pg", "u_filling": "5 %", "u_dilution": "3 %"}
    out["room"] = {"volume": "0.40 ± 0.02 m3", "air_changes": "0.20 ± 0.02", "outdoor": "440 ± 20 ppm",
                   "people": "0.0010 ± 0.0005"}  # fmt: skip
    out["dissolved_co2"] = {"sample": "30 ± 0.2 mL", "air": "30 ± 0.5 mL", "gas": "44 ± 0.5 mL",
                            "temperature": "20 ± 1 °C", "base": "5.0 ± 0.1 mL", "flat": "1.6 ± 0.1 mL",
                            "strength": "0.10 ± 0.01 mol/L"}  # fmt: skip
    out["cost"] = {"energy": "1.8 ± 0.1 kWh", "energy_price": "0.30 ± 0.01", "other": "0.50 ± 0.05",
                   "dry_portion": "5.0 ± 0.5 g"}  # fmt: skip
    out["inoculum"]["price"] = "12 ± 1"
    out["keeping"] = {"water": "60 ± 1 %", "salt": "8 ± 0.5 %", "water_activity": "0.90 ± 0.01", "pH": "5.4 ± 0.1",
                      "portion": "5 ± 1 g"}  # fmt: skip
    out["my_sums"] = {"co2": "42 g", "ethanol": "50 g", "yeast": "9 g", "yeast_at_most": "60 g", "pressure": "2 bar",
                      "yield": "0.1"}  # fmt: skip
    out["instruments"] = {"scale": {"check_weight": "500.0 ± 0.1 g", "check_reading": "502 ± 1 g", "reads": ["feed"]},
                          "thermometer": {"ice_reading": "0.4 ± 0.1 °C", "reads": ["conditions"]},
                          "gauge": {"zero_reading": "0.02 ± 0.01 bar", "reads": ["gas"]},
                          "balance": {"resolution": "0.1 g", "reads": ["weights"]}}  # fmt: skip
    return out


def tables(kind="collected volume"):
    """The tables of jar 3, its gas of one kind, with every further column."""
    out = {}
    for name in ("standards", "samples", "volumes", "weights", "drying", "hold"):
        frame = pd.read_csv(JAR / f"{name}.csv", dtype=str, keep_default_na=False)
        out[name] = {title: list(frame[title]) for title in frame}
    for title, most in (("soluble [g/L]", 90), ("brix [°Bx]", 10), ("amino nitrogen [g/L]", 4)):
        hours = [float(hour) for hour in out["hold"]["time [h]"]]
        out["hold"][title] = [f"{most * hour / (hour + 3):.3g}" if hour % 2 == 0 else "" for hour in hours]
    title, level = LEVELS[kind]
    gas = {"time [h]": HOURS, title: level, "barometer [bar]": [1.0 + 0.002 * (i % 3) for i in range(9)]}
    warm = {"temperature [°C]": [21.0 + (i % 3) for i in range(9)]} if kind != "vessel weight" else {}
    out["gas"] = {name: [str(x) for x in column] for name, column in (gas | warm).items()}
    out["washing"] = {
        "what": ["supernatant", "wash", "wash", "water"], "volume [mL]": ["1800", "600", "600", ""],
        "solids [g/L]": ["27", "", "", ""], "brix [°Bx]": ["4.2", "0.9", "", ""],
        "conductivity [mS/cm]": ["9.0", "2.6", "0.9", "0.4"], "cells [g/L]": ["0.3", "0.2", "0.1", ""],
    }  # fmt: skip
    out["acidity"] = {"time [h]": ["0", "10", "36"], "pH": ["5.2", "4.1", "4.3"]}
    out["counts"] = {"time [h]": ["0.5", "6", "36"], "cells": ["150", "180", "255"], "squares": ["25", "16", "10"],
                     "dead": ["20", "12", "20"], "dilution": ["10", "20", "20"]}  # fmt: skip
    out["turbidity"] = {"time [h]": ["0.5", "6", "36"], "optical density": ["0.35", "0.46", "0.4"],
                        "dilution": ["10", "10", "20"]}  # fmt: skip
    out["turbidity_standards"] = {"dry [g/L]": ["0", "0.1", "0.2", "0.3", "0.4", "0.6"],
                                  "optical density": ["0.003", "0.162", "0.321", "0.478", "0.642", "0.96"]}  # fmt: skip
    out["sugar"] = {
        "time [h]": ["0", "6", "12", "24", "36"], "density [kg/m3]": ["1037.9", "", "1020", "", "1009.6"],
        "gravity": ["", "1.032", "", "1.013", ""], "brix [°Bx]": ["9.6", "8.5", "6.4", "4.6", "4.4"],
        "glucose [g/L]": ["", "8", "15", "2", "0.3"], "reducing [g/L]": ["", "15", "30", "5", "0.5"],
        "temperature [°C]": ["20", "24", "26", "26", "23"],
    }  # fmt: skip
    out["standards"]["u [% vol]"] = ["0.01"] * len(out["standards"]["signal [V]"])
    return out


def numbers(found, seen=None):
    """Every number of the results, each object once, verdicts as numbers of their words; the run itself left out."""
    seen = {} if seen is None else seen  # holds the objects, so that no two of them share an address
    if isinstance(found, Enum):
        return [float(zlib.crc32(str(found.value).encode()))]
    if hasattr(found, "nominal_value"):
        return [found.nominal_value, found.std_dev]
    if isinstance(found, bool | int | float | np.number | np.bool_):
        return [float(found)]
    if id(found) in seen:
        return []
    seen[id(found)] = found
    if isinstance(found, np.ndarray):
        return [x for one in found.ravel() for x in numbers(one, seen)]
    if isinstance(found, Mapping):
        return [x for one in found.values() for x in numbers(one, seen)]
    if isinstance(found, tuple | list):
        return [x for one in found for x in numbers(one, seen)]
    if dataclasses.is_dataclass(found):
        names = (f.name for f in dataclasses.fields(found) if f.name != "run")
        return [x for name in names for x in numbers(getattr(found, name), seen)]
    return []


@pytest.fixture(scope="module")
def told():
    """The numbers of an analysis of settings and tables, without the slow steps."""
    kept = analysis.STEPS
    analysis.STEPS = tuple(step for step in STEPS if step.name not in SLOW)


    def of(written, rows):
        found = analysis.analyse(run_from(written, rows), curve="gompertz")
        return [*numbers(found), float(zlib.crc32(str(found.pressure).encode()))]  # a rating is held against in words

    yield of
    analysis.STEPS = kept


@pytest.fixture(scope="module")
def before(told):
    """The same of the complete run, once for each kind of gas reading."""
    return {kind: told(settings(kind), tables(kind)) for kind in GAS_KINDS}


def otherwise(about, value):
    """A value that is grossly another one."""
    if isinstance(value, bool):
        return not value
    if about.kind == "word":
        return next(word for word in about.words if word != value)
    if about.kind == "words":
        return ["inoculum"]
    figures = re.findall(r"\d+(?:\.\d+)?", value)
    shift = {"°C": 5.0, "kg/m3": 6.0, "1": 1.0 if about.high == 14.0 else 0.0}.get(about.unit, 0.0)
    new = float(figures[0]) + shift if shift else float(figures[0]) * 1.4 + (0.02 if float(figures[0]) == 0 else 0.0)
    if about.kind == "interval" and about.unit == "°C":
        return "30 to 40 °C"
    return value.replace(figures[0], f"{new:.6g}", 1) if about.kind != "u" else f"{float(figures[0]) * 5:g}" + value[
        len(figures[0]):]  # fmt: skip


def counted(section):
    """Fields of a section that are no free text."""
    return [about for about in fields_of(section) if about.kind != "text" and about.written not in FREE]


PLAIN = [(name, about.written.replace(" ", "_")) for name, section in SECTIONS.items()
         if name not in ("gas", "feed", "ingredients", "instruments") for about in counted(section)]  # fmt: skip


@pytest.mark.parametrize(("section", "key"), PLAIN)
def test_each_key_of_a_section_counts(told, before, section, key):
    """Changed grossly, it moves a number or is refused."""
    about = next(a for a in fields_of(SECTIONS[section]) if a.written.replace(" ", "_") == key)
    kind = {"rated": "pressure", "people": "room air"}.get(key, "collected volume")  # where it is read
    written, rows = settings(kind), tables(kind)
    if key in ("paste", "extract", "debris", "content"):  # they count where their table does not tell
        del rows["weights" if section == "harvest" else "samples"]
    if key == "dates":
        rows["gas"]["time [h]"] = [f"{3 + i}/4/2026 18:00" for i in range(9)]
        rows["gas"]["time"] = rows["gas"].pop("time [h]")
        written["run"]["start"] = "3/4/2026 18:00"
    if key == "paste_weighed":  # it counts where nobody told the shares
        del written["harvest"]["carried_solids"], written["harvest"]["share_harvested"]
    if key == "autolysate":  # it counts where the extract was not weighed
        del written["harvest"]["extract"]
        rows["weights"] = {title: [*cells[:2], *cells[3:]] for title, cells in rows["weights"].items()}
    as_it_is = key not in ("paste", "extract", "debris", "content", "dates", "paste_weighed", "autolysate")
    first = before[kind] if as_it_is else told(written, rows)
    assert key in written[section], f"[{section}] {key}: write it into the settings() of this file"
    written[section][key] = otherwise(about, written[section][key])
    moved(told, written, rows, first)


def moved(told, written, rows, first):
    """Whether the numbers are others, or the run is refused."""
    try:
        now = told(written, rows)
    except InputError:
        return
    assert not same(now, first), "no number moves: no step reads it, or the complete run of this file hides it"


def same(now, first):
    """Equal but for the last digits, in which sums in another order differ."""
    return len(now) == len(first) and np.allclose(now, first, rtol=1e-6, atol=1e-12, equal_nan=True)


@pytest.mark.parametrize("key", ["amount", "time", "price"])
def test_each_key_of_a_feed_counts(told, before, key):
    """How much, and when."""
    about = next(a for a in fields_of(SECTIONS["feed"]) if a.written == key)
    written = settings()
    written["feed"][-1][key] = otherwise(about, written["feed"][-1][key])
    moved(told, written, tables(), before["collected volume"])


@pytest.mark.parametrize("key", [about.written for about in counted(SECTIONS["ingredients"])])
def test_each_part_of_an_ingredient_counts(told, before, key):
    """A twentieth of it in the molasses is another feed, or no feed at all."""
    written = settings()
    part = written["ingredients"]["beet molasses"]
    part[key] = "1.6 g/mL" if key == "density" else "1 to 1.2 %" if key == "usable nitrogen" else "5.5 %"
    if key == "density":
        written["feed"][0]["amount"] = "170 ± 2 mL"
        first = told(written | {"ingredients": {"beet molasses": part | {"density": "1.4 g/mL"}}}, tables())
    else:
        first = before["collected volume"]
    moved(told, written, tables(), first)


@pytest.mark.parametrize(
    ("name", "key"),
    [("scale", "check_weight"), ("scale", "check_reading"), ("thermometer", "ice_reading"), ("gauge", "zero_reading"),
     ("balance", "resolution"), ("scale", "reads")],
)  # fmt: skip
def test_each_key_of_an_instrument_counts(told, name, key):
    """A check, a resolution, and what the instrument reads."""
    written, rows = settings("pressure"), tables("pressure")
    del written["harvest"]["u_weighing"]
    about = next(a for a in fields_of(SECTIONS["instruments"]) if a.written == key.replace("_", " "))
    first = told(written, rows)
    written["instruments"][name][key] = otherwise(about, written["instruments"][name][key])
    moved(told, written, rows, first)


GAS_KEYS = [(kind, about.written.replace(" ", "_"))
            for kind, section in GAS_KINDS.items() for about in counted(section)]  # fmt: skip


@pytest.mark.parametrize(("kind", "key"), GAS_KEYS)
def test_each_key_of_a_gas_reading_counts(told, before, kind, key):
    """Every kind by the keys of its own class."""
    about = next(a for a in fields_of(GAS_KINDS[kind]) if a.written.replace(" ", "_") == key)
    written, rows, first = settings(kind), tables(kind), before[kind]
    if key == "collector_temperature":  # it counts where the table logs none
        del rows["gas"]["temperature [°C]"]
        first = told(written, rows)
    assert key in written["gas"][0], f"{kind}: write {key} into OWN_KIND, here"
    written["gas"][0][key] = otherwise(about, written["gas"][0][key])
    moved(told, written, rows, first)


def test_the_same_run_gives_the_same_numbers(told, before):
    """Or a number that moves would show nothing."""
    assert all(same(told(settings(kind), tables(kind)), before[kind]) for kind in GAS_KINDS)
    assert all(len(before[kind]) > 200 for kind in GAS_KINDS)


def test_the_complete_run_has_every_key():
    """So that a new field cannot be forgotten here."""
    for section, key in PLAIN:
        assert key in settings()[section], f"[{section}] {key}: write it into the settings() of this file"
    for kind, key in GAS_KEYS:
        assert key in settings(kind)["gas"][0], f"{kind}: write {key} into OWN_KIND, here"


def test_every_kind_of_gas_stands_in_every_table():
    """A kind that one of them lacks would be read, and then lost on the way to the page."""
    for where, kinds in (("GAS_ROUTES in batch/readings.py", set(GAS_ROUTES)),
                         ("ROUTES in run/batch_readings.py", set(ROUTES.values()))):  # fmt: skip
        assert kinds == set(GAS_KINDS), f"{where}: {kinds ^ set(GAS_KINDS)}"
    for where, read in (("ACTS in gas/curve.py", set(ACTS)), ("READ_BY in run/first_page.py", set(READ_BY))):
        assert read == set(ROUTES), f"{where}: {read ^ set(ROUTES)}"
    for kind in GAS_KINDS:
        run = run_from(settings(kind), tables(kind))
        found = released_by(run.gas[0], run)
        assert ROUTES[found.kind] == kind, f"{kind}: released_by in run/gas_routes.py takes it for a {found.kind}"


COLUMNS = [(name, about.name) for name, row in ROWS.items() for about in fields_of(row)
           if about.kind != "text" and name != "temperature"]  # fmt: skip
"""The log of the liquid's temperature counts in the batch in time: see test_batch_in_time."""

WORDS = [("standards", "when", "before"), ("samples", "sample", "S9"), ("volumes", "what", "evaporation"),
         ("weights", "item", "other"), ("washing", "what", "wash"), ("drying", "item", "paste")]  # fmt: skip
KIND_OF = {kind.column.removesuffix("_gauge"): name for name, kind in GAS_KINDS.items()}


@pytest.mark.parametrize(("table", "column"), COLUMNS)
def test_each_column_of_a_table_counts(told, before, table, column):
    """Changed grossly, it moves a number or is refused."""
    about = next(a for a in fields_of(ROWS[table]) if a.name == column)
    kind = KIND_OF.get(column, "collected volume") if table == "gas" else "collected volume"
    written, rows = settings(kind), tables(kind)
    if column == "barometer_bar":
        del written["conditions"]["barometer"]
    first = told(written, rows)
    title = next((t for t in rows[table] if t.startswith(about.written)), None)
    assert title is not None, f"{table}: write a column {about.title!r} into the tables() of this file"
    shift = 3.0 if about.unit == "°C" else 0.6 if column == "pH" else 0.05 if about.unit == "bar" else 0.0
    for i in range(len(rows[table][title])):
        cell = rows[table][title][i]
        if cell and (about.kind != "time" or i > len(rows[table][title]) // 2 or table != "samples"):
            times = 1.0 if shift else 0.97 if about.name in ("wet_g", "dry_g") else 1.3
            rows[table][title][i] = f"{float(cell) * times + shift * (1 + 0.1 * i):.6g}"
    moved(told, written, rows, first)


@pytest.mark.parametrize(("table", "column", "word"), WORDS)
def test_each_word_of_a_table_counts(told, before, table, column, word):
    """A name that stands for a thing is no free text."""
    rows = tables()
    if column == "item" and table == "drying":
        rows[table][column] = [word] * len(rows[table]["weight [g]"])
    else:
        rows[table][column][-1] = word
    moved(told, settings(), rows, before["collected volume"])
