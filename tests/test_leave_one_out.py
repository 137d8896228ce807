"""One part of a run left out or spoilt costs at most itself: no other exception, no stumble, no bare nan."""

import runpy
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import fermkit as fk

BENCHMARK = Path(__file__).parent / "benchmarks" / "leave_one_out.py"
STUDY = runpy.run_path(str(BENCHMARK))


@pytest.fixture(scope="module", params=["jar_3_closes", "room air"])
def run(request):
    """A sample run; and one with every key and column, whose gas went into a room."""
    return STUDY["whole"](request.param)


def wrong(cases, every=1):
    """What went wrong in each so many-th case."""
    found = [(what, STUDY["tried"](settings, tables)) for what, settings, tables in list(cases)[::every]]
    assert {end for _, (end, _) in found} >= {"analysed", "refused"}
    return [(what, each) for what, (_, each) in found if each]


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_each_part_left_out(run):
    """One of two, or of seven, sections, keys, files, columns, thirds of the rows."""
    assert not wrong(STUDY["left_out"](*run), 2 if len(run[0]) < 14 else 7)


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
def test_each_value_spoilt(run):
    """Nought, below nought, beyond reason, another kind: one of 41, the rest in the benchmark."""
    assert not wrong(STUDY["spoilt"](*run), 41)


def changed(section, key, value, kind="collected volume"):
    """The run with everything, one setting of it another."""
    settings, tables = STUDY["whole"](kind)
    (settings[section] if section else settings)[key] = value
    return settings, tables


@pytest.mark.parametrize(("section", "key", "value", "said"), [
    ("vessel", "closed", "closed", "closed"), ("vessel", "closed", "open", "open"), ("run", "start", "25:99", "25:99"),
])  # fmt: skip
def test_settings_that_contradict_each_other_are_said(section, key, value, said):
    """A closed or an open vessel whose gas was caught; a start that is no time."""
    run = fk.run_from(*changed(section, key, value))
    assert any(said in str(doubt) for doubt in run.doubts)
    assert not any(said in str(doubt) for doubt in fk.run_from(*STUDY["whole"]("collected volume")).doubts)


@pytest.mark.parametrize(("section", "key", "value", "result"), [
    ("keeping", "salt", "80 ± 1 %", "keeping"), ("keeping", "portion", "0 ± 1 g", "keeping"),
    ("harvest", "share_harvested", "0 ± 1 %", "yeast"), ("dissolved_co2", "flat", "50 ± 1 mL", "dissolved"),
])  # fmt: skip
def test_what_cannot_be_costs_its_own_result(section, key, value, result):
    """More salt and water than product, a portion of nothing: no number, and the reason among the gaps."""
    names = {"keeping": ("keeping",), "yeast": ("feed", "harvest", "yeast"),
             "dissolved": ("dissolved",)}[result]  # fmt: skip
    found = fk.analyse(fk.run_from(*changed(section, key, value, "room air")), only=names)
    assert not getattr(found, result) and found.gaps


def test_no_more_is_poured_off_than_there_was():
    """A supernatant in millilitres that was written in microlitres."""
    settings, tables = STUDY["whole"]("collected volume")
    tables["washing"]["volume [mL]"] = ["90000", "600", "600", ""]
    found = fk.analyse(fk.run_from(settings, tables), only=("feed", "harvest", "washing"))
    assert found.washing is None and any("90" in gap for gap in found.gaps)


@pytest.mark.parametrize("amount", ["1e30 ± 1 kg", "1e12 ± 0.05 g", "20 ± 1e9 g"])
def test_sizes_beyond_all_kitchens_are_refused(amount):
    """By name, before any sum loses its digits over them."""
    settings, tables = STUDY["whole"]("collected volume")
    settings["feed"][1]["amount"] = amount
    with pytest.raises(fk.InputError) as error:
        fk.run_from(settings, tables)
    assert "amount" in error.value.met


def test_dry_yeast_counts_without_a_volume_of_liquid():
    """What its liquid carried is then anything from none to all of the feed's solids."""
    settings = {"feed": [{"ingredient": "white sugar", "amount": "100 ± 1 g"}], "harvest": {"paste": "9 ± 1 g dry"},
                "inoculum": {"ingredient": "instant dry yeast", "amount": "3 ± 0.1 g"}}  # fmt: skip
    assert fk.analyse(fk.run_from(settings, {}), only=("feed", "harvest", "yeast")).yeast is not None


def test_alcohol_beyond_all_yeast_does_not_cost_the_estimate():
    """It is said to be impossible instead."""
    settings, tables = changed("ethanol", "content", "99 ± 1 % vol")
    del tables["samples"]
    names = ("feed", "sugar_course", "ethanol_pct_vol", "released", "vessel", "estimate")
    assert fk.analyse(fk.run_from(settings, tables), only=names).estimate is not None


def test_table_columns_may_be_pandas_with_gaps():
    """Missing cells of any kind, an empty frame, a whole column without a reading."""
    settings, tables = STUDY["whole"]("collected volume")
    whole = {name: pd.DataFrame(table).replace("", np.nan) for name, table in tables.items()}
    assert fk.run_from(settings, whole).tables.keys() == fk.run_from(settings, tables).tables.keys()
    gaps = whole | {"counts": pd.DataFrame({"time [h]": [0, 1, None], "cells": [pd.NA, 5, 6], "squares": [1, 2, 3]}),
                    "hold": pd.DataFrame()}  # fmt: skip
    run = fk.run_from(settings, gaps)
    assert "hold" not in run.tables and len(run.tables["counts"]) < 3
    with pytest.raises(fk.InputError):
        fk.run_from(settings, whole | {"gas": pd.DataFrame({title: [np.nan] * 9 for title in tables["gas"]})})


def test_a_first_sample_beyond_the_sensor_leaves_the_others():
    """It costs itself, with its reason; the alcohol at the end is that of the last."""
    settings, tables = STUDY["whole"]("jar_3_closes")
    samples = tables["samples"]
    named, title = samples["sample"], next(one for one in samples if one.startswith("signal"))
    samples[title] = ["9.99" if name == named[0] else cell for name, cell in zip(named, samples[title])]
    names = ("feed", "calibration", "drift", "sample_rows", "samples", "ethanol_pct_vol")
    found = fk.analyse(fk.run_from(settings, tables), only=names)
    assert len(found.samples) == len(set(named)) - 1 and found.ethanol_pct_vol is not None and found.gaps
