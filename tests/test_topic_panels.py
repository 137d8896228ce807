"""Each topic's panel: its controls move picture, numbers and words together, and what it says is right."""

import asyncio
import csv
import re
from dataclasses import replace

import numpy as np
import panel_data
import pytest
from test_contrast import faint, seen
from uncertainties import ufloat

from fermkit import fit_calibration, panels
from fermkit.basis.errors import FitError, InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.kinetics.ahead import ahead
from fermkit.run.analysis import analyse
from fermkit.run.records import read_run
from fermkit.show import plots
from fermkit.show.controls import Choice, Slider
from fermkit.show.reading_panels import SLIPS
from fermkit.vessel.container import Vessel

TIME = np.array([0, 1, 2, 3, 4, 6, 8, 10, 12, 14.0])
WEIGHT = 30 + 70 * np.exp(-0.4 * TIME**1.1) + 0.1 * np.cos(7 * TIME)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A run on disk that closes."""
    return panel_data.write(tmp_path_factory.mktemp("runs") / "jar")


@pytest.fixture(scope="module")
def analysis(folder):
    """The same, analysed."""
    return analyse(read_run(folder))


@pytest.fixture(scope="module")
def other(tmp_path_factory):
    """A run with half as much yeast again."""
    folder = panel_data.write(tmp_path_factory.mktemp("runs") / "pot", yeast_g=12.0, name="pot", seed=2)
    return analyse(read_run(folder))


MAKERS = {
    "start": lambda a, b, f: panels.start(a),
    "growth": lambda a, b, f: panels.growth(a.gas[0]),
    "calibration": lambda a, b, f: panels.calibration(a.calibration, a.samples[0].readings[0]),
    "balance": lambda a, b, f: panels.balance(a.balance),
    "uncertainty": lambda a, b, f: panels.uncertainty_shares(a),
    "vessel": lambda a, b, f: panels.vessel(),
    "plan": lambda a, b, f: panels.plan(),
    "batch in time": lambda a, b, f: panels.batch_in_time(),
    "drying": lambda a, b, f: panels.drying(TIME, WEIGHT, ufloat(27.2, 0.2)),
    "compare": lambda a, b, f: panels.compare([a, b]),
    "watch": lambda a, b, f: panels.watch(f),
    "cells": lambda a, b, f: panels.cells(),
    "feed slowly": lambda a, b, f: panels.feed_slowly(),
}


@pytest.fixture(params=MAKERS)
def any_panel(request, analysis, other, folder):
    """Every panel that has a picture and sliders, one after the other."""
    return MAKERS[request.param](analysis, other, folder)


def test_the_first_slider_moves_picture_numbers_and_words(any_panel):
    """What a person does first changes all three; going back restores them to the byte."""
    name, slider = next(iter(any_panel._sliders.items()))
    before = any_panel.values[name]
    said, seen = str(any_panel), any_panel._drawing
    there = slider.low if before > (slider.low + slider.high) / 2 else slider.high
    any_panel.set(**{name: slider.low + (slider.high - slider.low) / 3})
    any_panel.set(**{name: there})
    assert str(any_panel) != said and any_panel._drawing != seen
    any_panel.set(**{name: before})
    assert str(any_panel) == said and any_panel._drawing == seen


def drawn(panel, **values):
    """What the panel says at other values, without making the PNG."""
    for ax in panel.picture.axes:
        plots.wipe(ax)
    return panel._draw(**panel.values | values)


def test_every_control_can_be_moved_over_its_whole_scale(any_panel):
    """Both ends of each slider and every word of each choice give a picture and a sentence, or a clear refusal."""
    for name, control in any_panel._inputs.items():
        ends = (control.low, control.high) if isinstance(control, Slider) else ()
        for value in ends or (control.words if isinstance(control, Choice) else ()):
            if name == "again":
                continue
            try:
                page = drawn(any_panel, **{name: control.accept(value)})
            except InputError as refusal:
                assert refusal.needed and refusal.do
            else:
                assert len(page.heading) > 20
                assert not re.search(r"\bnan\b", page.text())


def test_the_picture_of_every_panel_has_words(any_panel):
    """The alt text holds the verdict and the first number."""
    alt = re.search('aria-label="([^"]*)"', any_panel._seen.value)[1]
    assert any_panel.title in alt and len(alt) > 60


def test_what_is_drawn_stands_out_from_the_paper(any_panel):
    """Each line, mark and area has a contrast of 3 to 1, each word one of 4.5 to 1 (WCAG 2.2: 1.4.11, 1.4.3)."""
    for ax in any_panel.picture.axes:
        assert list(faint(ax)) == []
        assert all(seen(words.get_color()) >= 4.5 for words in ax.texts)


def test_start_shows_how_the_closure_breaks(analysis):
    """The run closes; a third of a mole of CO2 per hexose, or a slip in the dilution, breaks it at once."""
    panel = panels.start(analysis)
    assert "the measurements agree" in str(panel)
    measured = panel.values["co2_per_hexose"]
    assert 1.6 < measured < 2
    assert "contradict" in str(panel.set(co2_per_hexose="1/3"))
    share = float(re.search(r"(\d+\.\d+) ± .*of the carbon", str(panel))[1])
    found = nominal(analysis.balance.closure().found["carbon"])
    assert share == pytest.approx(100 * (found - (measured - 1 / 3) / 6), abs=0.2)  # carbon of CO2 per 6 of hexose
    panel.set(co2_per_hexose=measured, dilution=10)
    assert "contradict" in str(panel)


def test_start_pressure_follows_the_gas_space(analysis):
    """A smaller gas space over the same liquid gives the higher pressure, as the vessel says."""
    panel = panels.start(analysis).set(headspace_pct=50)
    line = next(line for line in panel.page.lines if "closed" in line.name)
    expected = Vessel(4.0, 2.0, 28.0).pressure(analysis.amounts["CO2"] / 44.009).gauge_bar
    assert float(line.value.split()[0]) == pytest.approx(nominal(expected), rel=0.01)
    assert "above 10 bar" in str(panel.set(headspace_pct=5))


def test_growth_forecasts_and_is_held_to_what_came(analysis):
    """From 40 % of the run the interval is wider than from all of it, and holds what came."""
    gas = analysis.gas[0]
    panel = panels.growth(gas).set(seen_pct=40)
    assert "it holds the" in str(panel)
    part = panel.page.lines[0].limits
    whole = panel.set(seen_pct=100).page.lines[0].limits
    assert part[1] - part[0] > whole[1] - whole[0]


def test_growth_taking_counted_gas_for_independent_readings_narrows_the_interval(analysis):
    """The trap of cumulative counts, shown by one choice."""
    panel = panels.growth(analysis.gas[0])
    assert panel.values["noise"] == "accumulating"
    honest = uncertainty(panel.page.lines[1].value)
    assert uncertainty(panel.set(noise="independent").page.lines[1].value) < honest


def test_calibration_scales_with_the_dilution(analysis):
    """Twice the dilution in the lab book, twice the alcohol; outside the standards it says so."""
    reading = analysis.samples[0].readings[0]
    panel = panels.calibration(analysis.calibration, reading)
    assert nominal(panel.page.lines[0].value) == pytest.approx(nominal(reading.value), rel=1e-6)
    assert nominal(panel.set(dilution=10).page.lines[0].value) == pytest.approx(2 * nominal(reading.value), rel=1e-6)
    strong = panels.calibration(analysis.calibration, analysis.calibration.read([0.80, 0.81], dilution=5))
    assert "OUTSIDE" in str(strong.set(drift_pct=20))


def test_calibration_with_fewer_replicates_is_less_sure(analysis):
    """One reading has the wider interval."""
    panel = panels.calibration(analysis.calibration, analysis.samples[0].readings[0]).set(pipetting_pct=0)
    four = panel.page.lines[0].limits
    one = panel.set(replicates=1).page.lines[0].limits
    assert one[1] - one[0] > 1.2 * (four[1] - four[0])


BLAMED = {
    "% by volume read as % by mass": "% by volume",
    "a dilution of 1 in 2 forgotten": "dilution factor",
    "a third of a mole of CO2 per mole of sugar": "one third of a mole",
    "a leak of one fifth of the gas": "leak",
    "sucrose taken for glucose": "sucrose",
    "yeast weighed wet, at a quarter solids": "wet",
}


def test_balance_agrees_for_the_run_as_it_was(analysis):
    """No slip, no contradiction; grams by name are enough."""
    assert "of the carbon is found" in panels.balance(analysis.amounts).page.heading
    assert "the measurements agree" in panels.balance(analysis.balance).page.heading


@pytest.mark.parametrize("slip", [name for name, (stream, _) in SLIPS.items() if stream])
def test_balance_sees_each_classic_slip_and_names_it_first(analysis, slip):
    """Each slip is a contradiction, and is first among the explanations, or of the group that is."""
    panel = panels.balance(analysis.balance).set(slip=slip)
    if slip == "sucrose taken for glucose":  # five per cent: seen where the other amounts are well known only
        assert "contradict" in panel.set(hexose_u_pct=0.4, ethanol_u_pct=0.6, CO2_u_pct=0.6, slip=slip).page.heading
        return
    assert panel.page.alarm and "contradict" in panel.page.heading
    first = [line.name for line in panel.page.parts[0].lines if line.name.startswith("1")]
    assert any(BLAMED[slip] in name for name in first)


def test_balance_doubts_less_when_each_amount_is_less_sure(analysis):
    """The same leak is no contradiction once the amounts are uncertain enough."""
    panel = panels.balance(analysis.balance).set(slip="a leak of one fifth of the gas")
    assert "contradict" in str(panel)
    assert "agree" in str(panel.set(CO2_u_pct=20, ethanol_u_pct=20))


def test_uncertainty_runs_backwards(analysis):
    """Halving an act gives what the analysis says of halving it, and an aim tells how much better is needed."""
    panel = panels.uncertainty_shares(analysis)
    shares = analysis.uncertainty_shares(panel.values["of"])
    act = next(one for one in shares.acts if str(one) == panel.values["act"])
    panel.set(better=2)
    assert uncertainty(panel.page.lines[1].value) == pytest.approx(shares.halved(act), rel=1e-9)
    relative = 100 * uncertainty(shares.value) / nominal(shares.value)
    assert "reaches the aim" in str(panel.set(aim_pct=min(10, relative * 1.05)))
    assert "can't be reached" in str(panel.set(aim_pct=0.2))


def test_vessel_a_vent_comes_back(analysis):
    """Less gas space, more pressure; a vent is no reset; above the rating it says TOO MUCH."""
    panel = panels.vessel(sugar_g=40, total_L=2.0, temperature_C=25, rated_bar_gauge=6)
    expected = Vessel(2.0, 1.5, 25.0).pressure(2 * 40 / 180.156).gauge_bar
    assert nominal(panel.page.lines[0].value) == pytest.approx(nominal(expected), rel=1e-3)
    assert nominal(panel.page.lines[1].value) > 1
    assert "TOO MUCH" in str(panel)
    assert nominal(panel.set(headspace_pct=50).page.lines[0].value) < nominal(expected)
    assert "No maker's rating" in str(panel.set(rating_bar=0))


def test_plan_air_and_slow_feeding_change_what_binds():
    """Fed slowly with much time the yeast is several times what fermenting gives."""
    panel = panels.plan()
    closed = nominal(panel.page.lines[0].value)
    fed = nominal(panel.set(how="fed slowly", hours=72).page.lines[0].value)
    assert fed > 1.5 * closed


def test_drying_forecast_moves_with_the_moisture_wanted():
    """Drier takes longer; with all weighings the forecast lies within what was weighed."""
    panel = panels.drying(TIME, WEIGHT, ufloat(27.2, 0.2)).set(moisture_pct=20)
    early = panel.page.lines[1].value
    assert panel.set(moisture_pct=12).page.lines[1].value > early
    assert "weighed" in str(panel)


def test_compare_tells_which_runs_differ(analysis, other):
    """Half as much yeast again is a difference; with errors three times as large the ± grows with them."""
    panel = panels.compare([analysis, other])
    assert "differ from jar: pot" in str(panel)
    with pytest.raises(InputError, match="different names"):
        panels.compare([analysis, analysis])


def test_watch_reads_what_the_logger_has_added(tmp_path):
    """Half a run, then more of it: the button finds the new rows, and the forecast narrows."""
    folder = panel_data.write(tmp_path / "jar", hours=16)
    panel = panels.watch(folder)
    assert (
        "the run is growing; it may be done at any time up to" in str(panel)
        and "nothing new" in panel.press("read")._status.value
    )
    early = panel.page.lines[2].limits
    with (folder / "gas.csv").open("w", newline="") as file:
        writer, table = csv.writer(file), panel_data.gas_table(30)
        writer.writerow(table)
        writer.writerows(zip(*table.values()))
    assert "14 new rows" in panel.press("read")._status.value
    late = panel.page.lines[2].limits
    assert late[1] - late[0] < early[1] - early[0]
    names = [line.name for line in panel.page.lines]
    assert "99 % of the final amount, between curves" in names and "of the gas that the sugar gives" in names


@pytest.mark.parametrize(("hours", "word"), [(9, "growing"), (25, "slowing"), (48, "done")])
def test_watch_says_how_the_run_stands(tmp_path, hours, word):
    """The state in a word, from the readings and from what the feed would give."""
    assert f"the run is {word}" in str(panels.watch(panel_data.write(tmp_path / "jar", hours=hours)))


def test_watch_raises_an_alarm_in_words(tmp_path):
    """A closed vessel against the maker's rating; one with an airlock is told never to be closed."""
    folder = panel_data.write(tmp_path / "jar", hours=30)
    said = " ".join(str(panels.watch(folder)).split())
    assert "never close it" in said and "ALARM" not in said
    toml = folder / "run.toml"
    toml.write_text(toml.read_text("utf-8").replace('"airlock"', '"closed"'), "utf-8")
    assert "ALARM" in str(panels.watch(folder).set(alarm_pct=100))


def test_watch_reads_again_on_a_timer_until_told_otherwise(tmp_path, monkeypatch):
    """The timer presses the button; choosing the button stops it."""
    monkeypatch.setattr("fermkit.show.recording_panels.AGAIN", {"on the button": 0.0, "every 10 s": 0.05})
    panel = panels.watch(panel_data.write(tmp_path / "jar", hours=16))

    async def wait():
        panel.set(again="every 10 s")
        await asyncio.sleep(0.6)
        said = panel._status.value
        panel.set(again="on the button")
        await asyncio.sleep(0.2)
        return said

    assert "Read again" in asyncio.run(wait())
    assert panel._status.value == ""


def test_calibration_panel_takes_standards_without_an_analysis():
    """A calibration and a reading are enough."""
    cal = fit_calibration([0, 2, 4, 6, 8, 10, 12], [2.1, 5.0, 9.0, 12.6, 17.3, 21.0, 24.7])
    assert "6.21" in str(panels.calibration(cal, cal.read(13.5)))


def test_watch_before_there_is_a_curve(tmp_path):
    """One reading tells no gas, three tell gas and no forecast: said in words, and the panel stands ready."""
    folder = panel_data.write(tmp_path / "jar", hours=3)
    said = str(panels.watch(folder))
    assert "3 h seen, and no forecast yet" in said and "CO2" in said
    rows = (folder / "gas.csv").read_text("utf-8").splitlines()
    (folder / "gas.csv").write_text("\n".join(rows[:2]) + "\n", "utf-8")
    panel = panels.watch(folder)
    assert "No gas curve yet." in str(panel)
    (folder / "gas.csv").write_text("\n".join(rows) + "\n", "utf-8")
    assert "3 new rows" in panel.press("read")._status.value and "3 h seen" in str(panel)


def test_watch_of_a_closed_vessel_whose_rating_nobody_knows(tmp_path):
    """Without the maker's rating there is no headroom to speak of: the alarm asks to let no pressure build up."""
    folder = panel_data.write(tmp_path / "jar", hours=30)
    toml = folder / "run.toml"
    text = toml.read_text("utf-8").replace('"airlock"', '"closed"')
    toml.write_text("\n".join(line for line in text.splitlines() if not line.startswith("rated")) + "\n", "utf-8")
    said = " ".join(str(panels.watch(folder)).split())
    assert "The maker's rating is not known: let no more pressure build up." in said and "Headroom" not in said


def test_watch_without_a_feed_or_a_vessel_still_forecasts(tmp_path):
    """Nothing is known but the gas: no alarm and no yield of the feed, yet the forecast from the readings."""
    folder = panel_data.write(tmp_path / "jar", hours=30)
    run = read_run(folder)
    toml = folder / "run.toml"
    text = toml.read_text("utf-8")
    toml.write_text(text[: text.index("[[feed]]")] + text[text.index("[[gas]]") :], "utf-8")
    said = str(panels.watch(folder))
    assert "30 h seen" in said and "of the gas that the sugar gives" not in said
    assert run.tables["gas"].shape[0] == 31


def test_compare_falls_back_on_the_estimate_of_a_run_without_the_yield(analysis, other):
    """A run that lost its harvest is compared by its estimate, said so; without one it is not held against."""
    short = replace(other, yields={name: y for name, y in other.yields.items() if name != "yeast_yield"})
    panel = panels.compare([analysis, short])
    panel.set(of="yeast_yield", against="pot")
    assert "the dry yeast was not measured" in str(panel.page)
    panel = panels.compare([analysis, replace(short, estimate=None)])
    with pytest.raises(InputError, match="pot has no yeast_yield"):
        panel.set(of="yeast_yield", against="pot")


def test_a_vessel_beyond_all_bounds_gets_no_number():
    """Where the equations end there is no share of a rating; without sugar there is no pressure below zero."""
    panel = panels.vessel(sugar_g=40, total_L=2.0, rated_bar_gauge=4)
    for sugar in (73, 74, 80):
        said = str(panel.set(sugar_g=sugar))
        assert panel.page.alarm and "above 12" in said and "% of the maker" not in said
    said = str(panel.set(sugar_g=0))
    assert "e-" not in said and not panel.page.alarm


def test_without_yeast_nothing_grows():
    """Zero grams of yeast is refused in words, not planned with."""
    panel = panels.plan()
    panel._knobs["active_dry_yeast_g"].value = 0.0
    assert "0 g of yeast" in panel._seen.value


def test_the_difference_of_two_runs_carries_the_scaled_error(analysis, other):
    """Three times the ± of each run is three times the ± of their difference."""
    panel = panels.compare([analysis, other])
    once = uncertainty(panel.page.lines[0].value)
    assert uncertainty(panel.set(times=3).page.lines[0].value) == pytest.approx(3 * once, rel=1e-9)


def test_the_balance_shows_which_reading_is_out(analysis):
    """One bar for each amount, in its own ±; those beyond 95 % are marked."""
    panel = panels.balance(analysis.balance).set(slip="a leak of one fifth of the gas")
    marked = [bar for bar in panel.picture.axes[1].patches if bar.get_hatch()]
    assert marked and panel.page.alarm


def test_cells_are_counted_under_a_grid():
    """More squares narrow the count; cells that clump make counts that miss more often than one of twenty."""
    panel = panels.cells()
    few = panel.page.lines[1].value
    many = panel.set(squares=25).page.lines[1].value
    assert uncertainty(many) / nominal(many) < uncertainty(few) / nominal(few)
    misses = {}
    for clump in (1, 8):
        rates = []
        for filling in range(1, 31):
            count = panel.set(clump=clump, filling=filling).page.lines[1].value
            rates.append(abs(nominal(count) - 2.0) > 1.96 * uncertainty(count))
        misses[clump] = sum(rates)
    assert misses[1] <= 5 < misses[8]
    assert "dilute less" in str(panel.set(per_mL_million=0.1, squares=1, clump=8, filling=1))


def test_sugar_is_fed_no_faster_than_yeast_and_air_respire():
    """Half a gram of yeast begins at µX/Y = 0.2 g/h; twice the yeast, twice that; poor air sets the pace sooner."""
    panel = panels.feed_slowly()
    assert float(panel.page.lines[0].value) == pytest.approx(0.2)
    assert float(panel.set(yeast_g=1.0).page.lines[0].value) == pytest.approx(0.4)
    hours = float(panel.page.lines[2].value)
    assert float(panel.set(kLa_per_h=10).page.lines[2].value) > hours
    assert "alcohol" in str(panel)


def test_a_batch_in_time_moves_as_yeast_sugar_warmth_and_nitrogen_say():
    """More yeast and more warmth end it sooner, more sugar later; little nitrogen lets more batches stop."""
    panel = panels.batch_in_time()

    def gone(**values):
        return float(panel.reset().set(**values).page.lines[0].value)

    usual = gone()
    assert gone(inoculum_g_L=8) < usual < gone(inoculum_g_L=0.5)
    assert gone(temperature_C=32) < usual < gone(temperature_C=15)
    assert gone(sugar_g_L=60) < usual < gone(sugar_g_L=160)
    stops = [ahead([0, 72], sugar_g_L=150, inoculum_g_L=1, temperature_C=25, nitrogen_yeast_g_L=x).stops_short
             for x in (1, 20)]  # fmt: skip
    assert stops[0] > stops[1]


def test_the_batch_before_any_reading_keeps_its_carbon():
    """Alcohol and CO2 of the usual batch are the shares of the sugar that its stoichiometry leaves: 2 mol each a mole
    of hexose, less yeast and by-products (Gay-Lussac's equation; Roels 1983 for the yeast)."""
    found = ahead([0, 300], sugar_g_L=100, inoculum_g_L=3, temperature_C=25, nitrogen_yeast_g_L=8, liquid_L=2)
    most = 100 / 180.156 * 2
    assert 0.85 * most < found.alcohol.value / 46.068 < most
    assert 0.85 * most < found.co2.value / 2 < most


def test_a_run_in_progress_is_told_by_the_batch_in_time_too(tmp_path, monkeypatch):
    """At rest the panel adds the hours by the batch in time; where they cannot be told it says why and goes on."""
    panel = panels.watch(panel_data.write(tmp_path / "jar", hours=16))
    assert len(panel.page.parts) == 1 and len(panel.page.parts[0].lines) >= 5

    def fails(_):
        raise FitError("no readings", "some", "read some")

    monkeypatch.setattr("fermkit.run.timeline.fit_batch", fails)
    panel.press("read")
    assert not panel.page.parts[0].lines and "no readings" in str(panel) and len(panel.page.lines) > 2
