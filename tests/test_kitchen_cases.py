"""What goes wrong in kitchens, told through a run's own files: each case ends in the words that help."""

import runpy
import sys
from pathlib import Path

import numpy as np
import pytest

import fermkit as fk
from fermkit.batch.progress import Stage
from fermkit.run.first_page import questions

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


def test_days_under_hours_are_noticed():
    """Gas that ends at '5 h' beside a sample at 120 h: tables that disagree on time."""
    table = gas()
    table["time [h]"] = [hour / 24 for hour in table["time [h]"]]
    taken = {"time [h]": [60, 120], "what": ["sample", "sample"], "volume [mL]": [50, 50]}
    assert "days written for hours" in first(told({"gas": table, "volumes": taken}))
    assert "days written for hours" not in first(told({"gas": gas(), "volumes": taken}))


# what was not told


def test_a_word_that_nobody_said_is_asked():
    """No inoculum, no state: asked, and the yeast's ± is as wide as the doubt."""
    found = told({"weights": WEIGHED}, inoculum=None)
    assert len(questions(found.estimate)) == 2 and "How much yeast was put in?" in first(found)
    assert not questions(told({"weights": WEIGHED}, run={"name": "jar", "state": "used up"}).estimate)
    wide, narrow = (one.yeast.net_g.std_dev for one in (found, told({"weights": WEIGHED})))
    assert wide > 2 * narrow


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

WRONG = {
    "a standard of 1.5 typed 15": ({}, {"ethanol": {"content": "34 ± 1 % vol"}}, "standard"),
    "per cent by volume as by mass": ({}, {"ethanol": {"content": "4.3 ± 0.1 % vol"}}, "Impossible"),
    "53.1 typed 531": ({"weights": WEIGHED | {"wet [g]": [1630.0, 200.0, 30.0]}}, {}, "decimal point"),
    "a paste of 100 kg": ({"weights": WEIGHED | {"wet [g]": [1e5, 200.0, 30.0], "dry [g]": [3e4, 16.0, 15.5]}}, {},
                          "Impossible"),
    "kg of inoculum": ({}, {"inoculum": {"ingredient": "active dry yeast", "amount": "500 g"}}, "Unlikely"),
    "500 g/L of sugar left": ({}, {"residual_sugar": {"value": "500 ± 10 g/L"}}, "Impossible"),
    "L under mL": ({"gas": gas(times=1000.0)}, {}, "Impossible"),
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
