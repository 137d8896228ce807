"""A run's hours: the gas by no model, yeast and sugar by the batch in time, and where the two differ."""

import copy
import pickle
from pathlib import Path

import panel_data
import pytest

import fermkit as fk
from fermkit.basis.written import nominal
from fermkit.run.closed_vessel import vessel_of
from fermkit.run.timeline import MODEL, NO_MODEL, timeline, timeline_or_why
from fermkit.show.report import html_report

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"


@pytest.fixture(scope="module")
def jar():
    """The hours of the jar that closes."""
    return timeline(fk.analyse(fk.read_run(SAMPLES / "jar_3_closes")))


@pytest.fixture(scope="module")
def running():
    """A run in progress, with a rating of 4 bar; invented."""
    return fk.analyse(fk.run_from(panel_data.SETTINGS, {"gas": panel_data.gas_table(14.0)}))


@pytest.fixture(scope="module")
def ahead(running):
    """Its hours."""
    return timeline(running)


def named(found):
    """Hours by name."""
    return {one.name: one for one in found.hours}


def test_each_hour_says_by_which_way_it_is_told(jar):
    """Two of the gas by no model, four by the batch in time, each inside its interval; none later than they may be."""
    hours = named(jar)
    assert {hours["gas_start"].by, hours["gas_end"].by} == {NO_MODEL}
    assert {hours[name].by for name in ("lag_h", "exponential_end_h", "sugar_gone_h", "gas_done_h")} == {MODEL}
    assert all(one.low <= one.value <= one.high for one in jar.hours)
    assert hours["lag_h"].value < hours["sugar_gone_h"].value < hours["gas_done_h"].high


def test_the_yeast_wakes_before_its_gas_is_seen(jar):
    """In this run the two lags lie apart by more than their intervals, and the words say it once for each pair."""
    hours = named(jar)
    assert hours["lag_h"].high < hours["gas_start"].low
    assert len(jar.words) == 2


def test_a_run_in_progress_has_a_forecast_by_both_ways(running, ahead):
    """The end of the gas is no reading yet; the words give the model's interval and that of the present rate."""
    hours = named(ahead)
    assert "gas_end" not in hours and hours["gas_done_h"].high > ahead.last_h
    assert running.progress.done_h is not None
    told = " ".join(ahead.words)
    assert f"{running.progress.done_h[1]:.1f}" in told or f"{running.progress.done_h[1]:.0f}" in told


def test_the_hour_of_the_rating_is_the_one_of_the_vessel(running, ahead):
    """At that hour the CO2 made by then presses with the maker's rating, by the vessel's own equation."""
    hour = named(ahead)["rating"].value
    made = ahead.fit.at([hour]).co2[0][0]
    assert nominal(vessel_of(running.run).pressure(made).gauge_bar) == pytest.approx(4.0, rel=0.05)


def test_a_failure_costs_itself_only():
    """Two readings are no batch in time: the reason is told, and the report is written all the same."""
    run = fk.run_from(
        {"run": {"name": "short"}, "feed": [{"ingredient": "white sugar", "amount": "100 g"}],
         "vessel": {"total": "3 L", "liquid": "2 L", "closed": "airlock"}, "gas": [{"kind": "collected volume"}]},
        {"gas": {"time [h]": [0, 5], "volume [mL]": [0, 900]}},
    )  # fmt: skip
    found = fk.analyse(run)
    hours, why = timeline_or_why(found)
    assert hours is None and "at least three" in why
    assert why in html_report(found)


def test_hours_travel(jar):
    """They go through pickle and copy, and a page shows them all."""
    assert pickle.loads(pickle.dumps(jar)).hours == copy.deepcopy(jar).hours == jar.hours
    assert len(jar.page().lines) == len(jar.hours)
