"""What goes wrong in kitchens, told through a run's own files: each case ends in the words that help."""

import html
import runpy
import shutil
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import fermkit as fk
from fermkit.basis.written import nominal
from fermkit.batch.closing import Verdict
from fermkit.batch.estimate import Mark
from fermkit.batch.progress import Stage
from fermkit.matter import usual
from fermkit.run.findings import Remarks
from fermkit.run.first_page import in_short, questions
from fermkit.run.oddities import odd_standards

# 140 g of sucrose are 147 g of hexose. At 90 % of Gay-Lussac (0.511 and 0.489 g/g) they give 68 g of alcohol, 3.4 % vol
# of 2.5 L, and 65 g or 1.47 mol of CO2: 35.7 L at 22 °C and 1.013 bar, of which the liquid keeps 1.9 L.
LITRES = 33.8
JAR = {
    "run": {"name": "jar"},
    "vessel": {"total": "3 L", "liquid": "2.5 L"},
    "feed": [{"ingredient": "white sugar", "amount": "140 g"}],
    "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"},
    "gas": [{"kind": "collected volume", "collector_temperature": "22 °C"}],
    "ethanol": {"content": "3.4 ± 0.1 % vol"},
}
HOURS = np.array([0.0, 3, 6, 9, 12, 16, 20, 24, 29, 32, 36, 41, 48, 54, 60, 66, 72, 84, 96, 108, 120])
SHARE = np.interp(HOURS, [0, 6, 12, 24, 29, 36, 41, 60, 84, 120], [0, 0.02, 0.1, 0.33, 0.42, 0.54, 0.62, 0.86, 0.98, 1])
WEIGHED = {"item": ["paste", "extract", "debris"], "tare [g]": [10] * 3, "wet [g]": [63.0, 200.0, 30.0],
           "dry [g]": [22.0, 16.0, 15.5]}  # fmt: skip


def gas(until_h=120.0, share=SHARE, times=1.0):
    """The volume in the collector up to some hour."""
    seen = until_h >= HOURS
    return {"time [h]": HOURS[seen].tolist(), "volume [mL]": (1000 * LITRES * times * share[seen]).round(0).tolist()}


def told(tables=None, **sections):
    """The jar with some sections changed (None: left out), analysed."""
    settings = {key: value for key, value in (JAR | sections).items() if value is not None}
    if "gas" not in (tables or {}):
        settings.pop("gas", None)
    return fk.analyse(fk.run_from(settings, tables or {}), curve="gompertz")


def first(found):
    """What is said first and what is advised, in one line."""
    return " ".join([*found.first_words, *found.advice])


def suspected(found):
    """Keys of the likeliest group."""
    return [suspect.mistake.key for suspect in found.suspects.first.suspects] if found.suspects.first else []


# how far it is


@pytest.mark.parametrize("hours", [24, 29, 36])
def test_a_jar_at_a_third_to_half_of_its_gas_is_growing(hours):
    """33, 42 and 54 % of the gas: growing, on the first page, with how far it is."""
    found = told({"gas": gas(hours)}, ethanol=None)
    assert found.progress.stage is Stage.GROWING
    low, _, high = found.progress.share
    assert low < (LITRES * np.interp(hours, HOURS, SHARE) + 1.9) / 35.7 < high
    first_done, last_done = found.progress.done_h
    assert hours < first_done < last_done and f"between {first_done:.0f} and {last_done:.0f} h" in found.first_words[0]
    assert found.first_words[0].startswith(f"State of the run at {hours} h: growing")


@pytest.mark.parametrize("hours", [72, 84, 120])
def test_gas_that_stands_still_at_71_per_cent_may_be_stuck_or_lost(hours):
    """Flat since 41 h: stuck, or gas lost, since when, and the reading that tells which."""
    flat = np.minimum(np.interp(HOURS, [0, 6, 41], [0, 0.03, 0.71]), 0.71)
    found = told({"gas": gas(hours, flat)}, ethanol=None)
    assert found.progress.stage is Stage.STUCK and found.progress.since_h == pytest.approx(41, abs=3)
    assert "test for sugar" in found.first_words[0]


def test_all_of_the_gas_and_no_more_is_done():
    """At 120 h of the good jar nothing more comes and as much came as the sugar gives."""
    ended = np.interp(HOURS, [0, 6, 12, 60, 84], [0, 0.02, 0.1, 0.95, 1.0])
    assert told({"gas": gas(120, ended)}, ethanol=None).progress.stage is Stage.DONE


def test_ten_lines_give_a_first_screen_that_can_be_read_out(tmp_path):
    """Sugar, litres, bottle, "about 3 % vol", two dry weights, own sums, in a file of ten lines and nothing else.

    Before the first table: what became of the sugar, whether it adds up, that the bottle must not be closed, and that
    12 g of CO2 is a third of a mole for each mole of sugar. 140 g of raw sugar are at most 73 g of CO2 (Gay-Lussac).
    """
    text = """run.name = "Sugar jar"
vessel = { total = "3 L", liquid = "2.5 L", kind = "PET bottle", rated = "4 bar" }
ethanol.content = "about 3 % vol"
harvest = { extract = "9.6 g dry", debris = "8.1 g dry" }
my_sums = { co2 = "12 g", yeast_at_most = "60 g" }
[[feed]]
ingredient = "raw cane sugar"
amount = "140 g"
"""
    assert len(text.splitlines()) <= 10
    (tmp_path / "run.toml").write_text(text, encoding="utf-8")
    found = fk.analyse(fk.read_run(tmp_path))
    page = fk.write_report(found, tmp_path / "report.html").read_text(encoding="utf-8")
    screen = html.unescape(page[page.index("<body") : page.index("<table")])
    for words in (in_short(found.estimate), Verdict.TOO_MUCH, "third of a mole", "Does it add up?"):
        assert words in screen
    assert found.estimate["co2"].high < 73.5 and found.estimate["ethanol"].low > 20
    assert found.yields["yeast_yield"].mark is Mark.WORKED_OUT and "co2_yield" not in found.yields
    assert any("How much yeast was put in?" in one for one in found.advice)
    assert {one.mark for one in found.estimate.values()} > {Mark.ASSUMED, Mark.WORKED_OUT}


@pytest.mark.parametrize("rows", [(7,), (7, 13)])
def test_a_standard_typed_ten_times_too_strong_is_named_with_its_row(tmp_path, rows):
    """1.0 typed 10 in one or both sets of a good jar: file, row and likely content are said before any suspect."""
    folder = tmp_path / "jar"
    shutil.copytree(Path(__file__).resolve().parent.parent / "sample_data" / "jar_3_closes", folder)
    lines = (folder / "standards.csv").read_text(encoding="utf-8").splitlines()
    for row in rows:
        level, rest = lines[row - 1].split(",", 1)
        lines[row - 1] = f"{10 * float(level):g},{rest}"
    (folder / "standards.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = fk.analyse(fk.read_run(folder))
    doubt = next(one for one in found.run.doubts if one.file == "standards.csv")
    assert doubt.row == rows[0] and "about 0.99 % vol" in str(doubt)
    assert any("standards.csv" in one for one in found.first_words)
    assert "ethanol" not in found.amounts and nominal(found.yields["ethanol_yield"].per_g) < 0.512


def test_honest_standards_are_not_doubted():
    """Even, uneven, tenfold steps, a bent answer: no standard is called a slip."""
    for levels in ([0, 0.2, 0.4, 0.6, 0.8, 1.0], [0, 1, 2, 4, 8, 16], [0, 0.01, 0.1, 1, 10], [0, 0.5, 1, 1.5, 2, 4]):
        for bend in (0.0, 0.15):
            level = np.array(levels, float)
            book = Remarks("standards.csv")
            signal = 0.05 + 0.8 * level / (1 + bend * level)
            odd_standards(pd.DataFrame({"ethanol_pct_vol": level, "signal": signal, "row": range(2, 2 + level.size)}),
                          book)  # fmt: skip
            assert not book.all(), (levels, bend)


def test_days_under_hours_are_noticed():
    """Gas that ends at '5 h' beside a sample at 120 h: tables that disagree on time."""
    table = gas()
    table["time [h]"] = [hour / 24 for hour in table["time [h]"]]
    taken = {"time [h]": [60, 120], "what": ["sample", "sample"], "volume [mL]": [50, 50]}
    assert "days written for hours" in first(told({"gas": table, "volumes": taken}))
    assert "days written for hours" not in first(told({"gas": gas(), "volumes": taken}))


# what was not told


def test_a_word_that_nobody_said_is_asked():
    """No inoculum, no share harvested, no state: asked, and the yeast's ± is as wide as the doubt."""
    found = told({"weights": WEIGHED}, inoculum=None)
    assert len(questions(found.estimate)) == 3 and "How much yeast was put in?" in first(found)
    kept = {"share_harvested": "95 ± 1 %"}
    assert not questions(told({"weights": WEIGHED}, run={"name": "jar", "state": "used up"}, harvest=kept).estimate)
    wide, narrow = (told({"weights": WEIGHED}, harvest=kept, **none).yeast.net_g.std_dev
                    for none in ({"inoculum": None}, {}))  # fmt: skip
    assert wide > 2 * narrow


def test_a_harvest_share_that_nobody_told_is_the_same_for_harvest_and_estimate():
    """84 to 98 % is taken in both, said on the harvest's page, and their yeasts agree; told, it is narrower."""
    found = told({"weights": WEIGHED}, run={"name": "jar", "state": "used up"})
    assert found.harvest.share.n == pytest.approx(usual.HARVESTED.middle) and not found.harvest.share_told
    assert "not told" in str(found.harvest)
    grown = found.estimate["yeast"]
    assert abs(found.yeast.net_g.n - grown.value) < found.yeast.net_g.s
    sure = told({"weights": WEIGHED}, run={"name": "jar", "state": "used up"}, harvest={"share_harvested": "91 ± 1 %"})
    assert sure.harvest.share_told and sure.estimate["yeast"].u < grown.u
    assert sure.yeast.net_g.s < 0.6 * found.yeast.net_g.s



def test_what_was_not_measured_is_no_gap_in_the_carbon():
    """No gas was read: the readings fit, and the CO2 yield says that it was worked out."""
    found = told({"weights": WEIGHED})
    assert found.consistent and not suspected(found)
    assert "co2_yield" not in found.yields or "not measured" in str(found.yields["co2_yield"])
    assert "missing" not in found.verdict


def test_a_left_out_uncertainty_is_the_usual_one_and_said():
    """No ± on alcohol and weights: the readings of an honest jar fit together."""
    found = told({"gas": gas(), "weights": WEIGHED}, ethanol={"content": "3.4 % vol"})
    assert found.consistent, found.verdict
    assert "usual" in str(found)


@pytest.mark.parametrize("change", [{"item": ["Yeast paste", "extract", "debris"]}, {"wet [g]": [22.0, 200.0, 30.0],
                                                                                   "dry [g]": [63.0, 16.0, 15.5]}])
def test_a_yield_without_a_paste_says_that_it_was_not_weighed(change):
    """A name that nobody knows, or wet and dry swapped: an inferred yield is never printed as measured."""
    found = told({"gas": gas(), "weights": WEIGHED | change})
    assert "yeast" not in found.amounts
    assert "yeast_yield" not in found.yields or "not measured" in found.answer


def test_run_against_run_says_which_yield_was_not_measured():
    """One jar without a paste beside one with: the comparison says that its yeast was worked out."""
    found = fk.compare_runs([told({"gas": gas(), "weights": WEIGHED}), told({"gas": gas()})])
    assert "the dry yeast was not measured" in str(found)


# what cannot be

BUBBLES = {"gas": {"time [h]": HOURS.tolist(), "bubbles": (1000 * LITRES * SHARE / 0.62).round(0).tolist()}}
WRONG = {
    "a standard of 1.5 typed 15": ({}, {"ethanol": {"content": "34 ± 1 % vol"}}, "standard"),
    "per cent by volume as by mass": ({}, {"ethanol": {"content": "4.3 ± 0.1 % vol"}}, "Impossible"),
    "53.1 typed 531": ({"weights": WEIGHED | {"wet [g]": [1630.0, 200.0, 30.0]}}, {}, "decimal point"),
    "a paste of 100 kg": ({"weights": WEIGHED | {"wet [g]": [1e5, 200.0, 30.0], "dry [g]": [3e4, 16.0, 15.5]}}, {},
                          "Impossible"),
    "kg of inoculum": ({}, {"inoculum": {"ingredient": "active dry yeast", "amount": "500 g"}}, "Unlikely"),
    "500 g/L of sugar left": ({}, {"residual_sugar": {"value": "500 ± 10 g/L"}}, "Impossible"),
    "L under mL": ({"gas": gas(times=1000.0)}, {}, "Impossible"),
    "0.62 L a bubble": (BUBBLES, {"gas": [{"kind": "bubble count", "volume_per_bubble": "0.62 L"}]}, "mL for L"),
    "bubbles of each interval": (
        {"gas": BUBBLES["gas"] | {"bubbles": np.diff(BUBBLES["gas"]["bubbles"], prepend=0).tolist()}},
        {"gas": [{"kind": "bubble count", "volume_per_bubble": "0.62 mL"}]}, "each interval"),
    "more yeast than the sugar feeds": ({"weights": WEIGHED | {"wet [g]": [150.0, 200.0, 30.0],
                                                               "dry [g]": [60.0, 16.0, 15.5]}}, {}, "weighed wet"),
    "0.14 g of sugar": ({}, {"feed": [{"ingredient": "white sugar", "amount": "0.14 g"}]}, "kg written for g"),
    "more parts than paste": ({"weights": WEIGHED | {"dry [g]": [22.0, 30.0, 15.5]}}, {}, "no more can come out"),
}  # fmt: skip


@pytest.mark.parametrize("tables, sections, words", WRONG.values(), ids=WRONG)
def test_what_cannot_be_is_said_first(tables, sections, words):
    """Before any suspect, with the slip that likely made it; no yield rests on it and none is above its limit."""
    found = told(tables, **sections)
    said = [line for line in found.first_words if line.startswith(("Impossible", "Unlikely"))]
    assert any(words in line for line in said), found.first_words
    assert str(found)


# which mistake it was

COMPLETE = {"residual_sugar": {"value": "1 ± 0.5 g/L"}}
SLIPS = {
    "a third of a mole": ({"gas": gas(times=1 / 6)}, {}, "third"),
    "a leak of a third": ({"gas": gas(times=0.67)}, {}, "leak"),
    "standards made by mass": ({"gas": gas()}, {"ethanol": {"content": "2.68 ± 0.1 % vol"}}, "by mass"),
    "1 + 1 as undiluted": ({"gas": gas()}, {"ethanol": {"content": "1.7 ± 0.1 % vol"}}, "dilution"),
    "a bubble of half its size": ({"gas": gas(times=0.5)}, {}, "gas misread"),
}  # fmt: skip


@pytest.mark.parametrize("tables, sections, key", SLIPS.values(), ids=SLIPS)
def test_a_classic_slip_stands_in_the_first_group(tables, sections, key):
    """A complete run with one slip alarms, and the slip is among the likeliest."""
    found = told(tables | {"weights": WEIGHED}, **COMPLETE, **sections)
    assert found.consistent is False
    assert key in suspected(found)
    words = found.suspects.first.suspects[0].mistake.words
    assert words in found.advice[0]  # beside what would show it


def test_two_slips_at_once_say_that_even_the_best_fits_badly():
    """The name of a suspect never stands without it."""
    found = told({"gas": gas(times=0.4), "weights": WEIGHED | {"dry [g]": [50.0, 16.0, 15.5]}}, **COMPLETE,
                 ethanol={"content": "1.7 ± 0.05 % vol"})  # fmt: skip
    assert found.suspects.fits_badly and "even this fits badly" in found.advice[0]


# whatever was measured


def test_any_subset_of_readings_is_answered_through_a_run_folder(monkeypatch):
    """A short form of benchmarks/subset_files.py: 12 drawn batches and subsets, no exception, and the truth is held.

    Of 120 intervals of 95 % that were independent 104 would hold in all but one of 10,000 tries.
    """
    here = Path(__file__).resolve().parent / "benchmarks"
    monkeypatch.setattr(sys, "path", [str(here), *sys.path])
    held, wrong, _ = runpy.run_path(str(here / "subset_files.py"))["study"](12, 7)
    assert not wrong
    assert sum(map(sum, held.values())) >= 104
