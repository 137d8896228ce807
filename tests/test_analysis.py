"""From raw readings to yields: the truth of invented runs is recovered, and what is missing is said."""

import json
import runpy
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import fermkit as fk
from fermkit.basis.budget import NOT_NAMED
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.batch.estimate import Mark
from fermkit.run import alcohol, feeding, gas_routes
from fermkit.run.ledger import Entry, Ledger
from fermkit.run.sections_batch import FeedItem, Inoculum, VesselSection
from fermkit.run.sections_gas import BubbleCount
from fermkit.run.sections_harvest import HarvestSection
from fermkit.run.sections_liquid import Density, Ethanol, ResidualSugar
from fermkit.show.report import html_report

SAMPLES = Path(__file__).resolve().parent.parent / "sample_data"
TRUTH = json.loads((SAMPLES / "truth.json").read_text(encoding="utf-8"))
RUNS = sorted(TRUTH)


@pytest.fixture(scope="module")
def analyses():
    """All sample runs, analysed once."""
    return {name: fk.analyse(fk.read_run(SAMPLES / name)) for name in RUNS}


def only_fed():
    """A sample run of which nothing was read or weighed but what went in."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    return replace(
        run, tables={}, gas=(), density=Density(), residual_sugar=ResidualSugar(), harvest=HarvestSection(),
        ethanol=Ethanol(), state="",
    )  # fmt: skip


def inside(value, true, coverage=3.3):
    """Whether a value ± u lies within so many u of the truth: one in a thousand would not."""
    return abs(value.nominal_value - true) <= coverage * value.std_dev


@pytest.mark.parametrize("name", RUNS)
def test_amounts_are_those_that_truly_happened(analyses, name):
    """Sugar used, ethanol made, yeast grown and (leak aside) CO2 made agree with the model's truth."""
    found, true = analyses[name].amounts, TRUTH[name]["amounts_g"]
    assert inside(-found["hexose"], true["hexose consumed"])
    assert inside(found["ethanol"], true["ethanol made"])
    assert inside(found["yeast"], true["yeast grown"])
    if TRUTH[name]["fault"] != "gas leak":
        assert inside(found["CO2"], true["CO2 made"])


@pytest.mark.parametrize("name", RUNS)
def test_yields_hold_the_truth(analyses, name):
    """The 95 % interval of each yield holds the true one (those of a leaking gas are flagged instead)."""
    analysis, true = analyses[name], TRUTH[name]["yields_g_per_g_hexose"]
    for product in ("yeast", "ethanol", "CO2"):
        found = analysis.yields[f"{product.lower()}_yield"]
        if TRUTH[name]["fault"] == "gas leak" and product == "CO2":
            assert analysis.consistent is False
            continue
        low, high = found.interval()
        assert low <= true[product] <= high, (product, found.per_g, true[product])


def test_the_headline_follows_the_route_that_the_batch_supports(analyses):
    """A fifth of the gas leaks past the collector: yield and rate are those of the scale, and hold the truth."""
    leaky, true = analyses["jar_7_leak"], TRUTH["jar_7_leak"]
    assert leaky.gas[0].kind == "weight"
    low, high = leaky.yields["co2_yield"].interval()
    assert low <= true["yields_g_per_g_hexose"]["CO2"] <= high
    assert leaky.read.max_rate.n > 1.1 * 0.0787  # mol/h, by the leaking collector


def test_the_leak_is_found_named_and_sized(analyses):
    """The leaking jar alarms, names the gas first, and its two routes give the true share."""
    leaky = analyses["jar_7_leak"]
    assert leaky.consistent is False
    assert leaky.suspects.first.suspects[0].mistake.key == "leak"
    assert inside(leaky.routes.leak, TRUTH["jar_7_leak"]["leak_share"])
    assert any("leak" in sentence for sentence in leaky.advice)


@pytest.mark.parametrize("name", [run for run in RUNS if TRUTH[run]["fault"] != "gas leak"])
def test_runs_without_a_mistake_do_not_alarm(analyses, name):
    """The measurements of the honest runs agree."""
    assert analyses[name].consistent is True


def test_the_starved_jar_is_told_by_its_limit(analyses):
    """Nitrogen is among what binds, and the yield by sugar is the lowest of the jars."""
    starved = analyses["jar_5_starved"]
    assert "nitrogen" in starved.limits.binding
    others = [a.yields["yeast_yield"].per_g.nominal_value for n, a in analyses.items() if n != "jar_5_starved"]
    assert starved.yields["yeast_yield"].per_g.nominal_value < min(others)


def test_workbook_and_folder_give_the_same_numbers(analyses):
    """The same run as .xlsx differs in nothing."""
    book = fk.analyse(fk.read_run(SAMPLES / "jar_3_closes.xlsx"))
    for name, found in analyses["jar_3_closes"].yields.items():
        assert book.yields[name].per_g.nominal_value == pytest.approx(found.per_g.nominal_value, rel=1e-12)
        assert book.yields[name].per_g.std_dev == pytest.approx(found.per_g.std_dev, rel=1e-12)


@pytest.mark.parametrize(("table", "word"), [("standards", "Ethanol"), ("weights", "Harvest"), ("hold", "Autolysis")])
def test_what_is_left_out_is_said_and_the_rest_goes_on(tmp_path, table, word):
    """A run without a table is analysed without it, and the page says what can then not be told."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    (tmp_path / "run" / f"{table}.csv").unlink()
    analysis = fk.analyse(fk.read_run(tmp_path / "run"))
    assert any(gap.startswith(word) for gap in analysis.gaps), analysis.gaps
    assert str(analysis)
    assert html_report(analysis)


def test_a_run_without_gas_is_analysed_without_it():
    """No gas was read: said, and the rest goes on."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    analysis = fk.analyse(replace(run, gas=()))
    assert any(gap.startswith("Gas") for gap in analysis.gaps)
    assert "ethanol_yield" in analysis.yields


def test_a_run_without_any_table_still_prints():
    """Only the feed is known: limits are told, no yield, and why."""
    bare = fk.analyse(only_fed())
    assert bare.limits is not None
    assert bare.yields == {}
    assert set(mark for mark in (found.mark for found in bare.estimate.values())) == {Mark.RECIPE}
    assert "from the recipe" in bare.answer


def test_shares_of_the_uncertainty_add_up_and_name_acts(analyses):
    """Every share belongs to a named act of the kitchen; together they are the whole variance."""
    shares = analyses["jar_3_closes"].uncertainty_shares("yeast_yield").shares()
    assert sum(shares.values()) == pytest.approx(1.0)
    assert NOT_NAMED not in shares
    with pytest.raises(InputError, match="did you mean 'yeast_yield'"):
        analyses["jar_3_closes"].uncertainty_shares("yeast_yeld")


def test_reconciled_yields_are_narrower_than_measured_ones(analyses):
    """Closing the balance can only add knowledge."""
    a = analyses["jar_3_closes"]
    measured = a.amounts["ethanol"] / -a.amounts["hexose"]
    assert a.yields["ethanol_yield"].per_g.std_dev < measured.std_dev


def test_comparison_of_runs(analyses):
    """The starved jar differs from the ordinary one in yeast, and the comparison says so."""
    found = fk.compare_runs([analyses["jar_3_closes"], analyses["jar_5_starved"]])
    yeast = next(d for d in found.differences if d.product == "dry yeast")
    assert yeast.adjusted_p < 0.01
    assert "less for each gram of sugar used than" in str(found)
    with pytest.raises(InputError, match="two runs or more"):
        fk.compare_runs([analyses["jar_3_closes"]])


def test_the_page_has_no_bare_nan(analyses):
    """Every printed page says missing numbers in words."""
    for analysis in analyses.values():
        assert "nan" not in str(analysis).lower().replace("finance", "").split()
        assert np.isfinite(analysis.yields["yeast_yield"].per_g.nominal_value)


def test_sugar_in_early_samples_was_not_used():
    """A litre taken out at the start holds sugar that no yeast used; taken at the end it holds none."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    fed, gas = feeding.feed_of(run), gas_routes.released_by(run.gas[0], run)
    at = {"start": 0.0, "end": 1e3}
    taken = {name: Ledger(2.0, (Entry(hour, "sample", -1.0),)) for name, hour in at.items()}
    left = {
        name: nominal(feeding.sugar_left_g(replace(run, ledger=led), fed, None, gas)) for name, led in taken.items()
    }
    assert left["start"] == pytest.approx(nominal(fed.hexose_g) / 2)
    assert left["end"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.slow
def test_the_spread_of_the_yields_is_what_the_raw_files_say():
    """A short form of benchmarks/yield_monte_carlo.py: 60 draws of every number in the files (sd known to 9 %)."""
    study = runpy.run_path(str(SAMPLES.parent / "tests" / "benchmarks" / "yield_monte_carlo.py"))["study"]

    for name, drawn, stated in study(60, jobs=1):
        assert 0.7 < drawn / stated < 1.35, name


def test_each_dilution_is_read_at_its_own_temperature(tmp_path):
    """Diluted half a kelvin warmer and so seen 3.4 % stronger, a sample reads the same at both dilutions."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    rows = ["sample,time [h],signal [V],dilution,temperature [°C]"]
    for dilution, warm in ((5, 20.0), (10, 20.5)):
        signal = 0.052 + 0.81 * 3.3 / dilution * (1 + 0.068 * (warm - 20.0))
        rows += [f"S1,36.25,{signal:.4f},{dilution},{warm}"] * 3
    (tmp_path / "run" / "samples.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (sample,) = fk.analyse(fk.read_run(tmp_path / "run"), curve="gompertz").samples
    five, ten = (nominal(reading.value) for reading in sample.readings)
    assert five == pytest.approx(ten, rel=0.01)
    assert sample.series.agreement.passed


def test_standards_read_on_a_warmer_evening_are_no_drift(tmp_path):
    """Standards half a kelvin warmer after the samples show more vapour; the sensor has not moved."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    rng, rows = np.random.default_rng(3), ["ethanol [% vol],signal [V],when,temperature [°C]"]
    for when, warm in (("before", 20.0), ("after", 20.5)):
        for content in (0.0, 0.2, 0.4, 0.6, 0.8, 1.0):
            signal = 0.052 + 0.81 * content * (1 + 0.068 * (warm - 20.0)) + rng.normal(0, 0.003)
            rows.append(f"{content},{signal:.4f},{when},{warm}")
    (tmp_path / "run" / "standards.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    run = fk.read_run(tmp_path / "run")
    drift = alcohol.drift_of(run, alcohol.calibration_of(run))
    assert drift.drift.passed and inside(drift.shift, 0.0)


def test_the_air_of_a_closed_vessel_counts(analyses):
    """Up to all of its oxygen may have burnt sugar: half a litre of air holds some 0.14 g; under an airlock half."""
    keg, jar = analyses["keg_2_pressure"].reconciliation, analyses["jar_3_closes"].reconciliation
    assert nominal(keg.reported["O2"]) == pytest.approx(-0.5 * (0.5 * 0.279 + 1.5 * 0.0083), rel=0.05)
    assert nominal(jar.reported["O2"]) == pytest.approx(-0.25 * (1.0 * 0.279 + 2.0 * 0.0078), rel=0.05)
    assert any("air is taken as used" in note for note in keg.notes)


def test_lag_and_rate_are_those_of_the_readings_and_curves_are_shown_beside(analyses):
    """The page gives what was read without a curve, with its interval, and how far the curves disagree."""
    found = analyses["jar_5_starved"]
    line = next(line for line in str(found).splitlines() if line.strip().startswith("lag of the gas"))
    assert f"{found.read.lag_h.nominal_value:.2f}" in line and "between growth curves" in line
    assert "comes in runs" not in str(found) and "runs of one sign" in str(found.curves)


def test_too_few_readings_for_that_are_read_through_a_curve(tmp_path):
    """Eight readings of the gas: lag and rate come from the fitted curve, which is named, and the gap is told."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    gas = (tmp_path / "run" / "gas.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "run" / "gas.csv").write_text("\n".join(gas[:1] + gas[1::5]) + "\n", encoding="utf-8")
    found = fk.analyse(fk.read_run(tmp_path / "run"))
    assert found.read is None and f"{found.growth.curve.replace('_', ' ')} curve" in str(found)
    assert any(gap.startswith("Gas without a growth curve: not told, since 8 readings") for gap in found.gaps)


@pytest.mark.slow
def test_intervals_hold_the_truth_from_the_files_to_the_report():
    """A short form of benchmarks/pipeline_coverage.py: 51 of 60 intervals hold, 997 times in 1,000 if they are 95 %."""
    study = runpy.run_path(str(SAMPLES.parent / "tests" / "benchmarks" / "pipeline_coverage.py"))["study"]
    table = study(10, ("volume", "closed keg"))  # ten of each of three kinds of yeast
    rows = [row for row in table if row.kind == "interval"]
    for what in ("yield: dry yeast", "yield: ethanol", "yield: CO2", "gas read: lag_h", "gas read: max_rate"):
        of = [row for row in rows if row.what == what]
        assert sum(row.covered * row.runs for row in of) >= 51 and all(row.given == 1.0 for row in of), what


def test_ethanol_that_left_with_the_gas_is_counted(analyses):
    """Through an airlock the CO2 takes along what a stirred liquid gives it; from a closed vessel nothing leaves.

    Little by little: each litre of gas holds 1/(H R T) of the liquid's ethanol per litre (Sander 2015, gas 70 to 100 %
    saturated), while the ethanol is made in step with the gas.
    """
    jar = analyses["jar_3_closes"]
    shut = replace(jar.run, vessel=replace(jar.run.vessel, closed="closed"))
    carried = jar.amounts["ethanol"] - alcohol.ethanol_made_g(shut, jar.ethanol_pct_vol, jar.gas[0])
    kelvin, parts = 301.15, 2000
    share = 0.85 / (1.9 * np.exp(6500 * (1 / kelvin - 1 / 298.15)) * 8.314 * kelvin)
    gas_L = nominal(jar.gas[0].total()) * 0.083145 * kelvin / 1.008
    made, inside_g, left_g = nominal(jar.amounts["ethanol"]), 0.0, 0.0
    for _ in range(parts):
        leaves = share * inside_g / nominal(jar.run.ledger.volume_L(1e3)) * gas_L / parts
        inside_g, left_g = inside_g + made / parts - leaves, left_g + leaves
    assert nominal(carried) == pytest.approx(left_g, rel=0.05)
    assert carried.std_dev == pytest.approx(left_g * 0.15 / 0.85 / np.sqrt(3), rel=0.1)


@pytest.mark.parametrize(("closed", "aeration"), [("airlock", "none"), ("airlock", "air pump"), ("vented", "none")])
def test_ethanol_is_added_for_the_gas_that_left(analyses, closed, aeration):
    """Fermentation gas and a pump's air carry some out; of a vented vessel, at another pressure, nothing is added."""
    jar = analyses["jar_3_closes"]
    shut = replace(jar.run, vessel=replace(jar.run.vessel, closed="closed"))
    conditions = replace(jar.run.conditions, aeration=aeration)
    run = replace(jar.run, vessel=replace(jar.run.vessel, closed=closed), conditions=conditions)
    more = alcohol.ethanol_made_g(run, 5.0, jar.gas[0]) - alcohol.ethanol_made_g(shut, 5.0, jar.gas[0])
    assert (nominal(more) > 0.05) is (closed == "airlock")


def test_co2_taken_away_with_the_samples_is_counted():
    """Half a litre sampled at the end took its CO2 along, which the yeast had made; half a litre of vapour took none.

    Dissolved at 28 °C under 0.97 bar: 0.034 mol/(L bar) at 25 °C, falling by 2400 K (Sander 2015); up to a tenth
    more or less than saturated, bicarbonate 2 to 3 % more at pH 4.8.
    """
    jar = fk.read_run(SAMPLES / "jar_3_closes")
    only_gas = replace(jar, tables={"gas": jar.tables["gas"]})

    def made_g(*entries):
        return fk.analyse(replace(only_gas, ledger=Ledger(2.0, entries)), curve="gompertz").amounts["CO2"]

    nothing, late = made_g(), 36.2
    assert nominal(made_g(Entry(late, "sample", -0.5))) == pytest.approx(nominal(nothing), rel=1e-9)
    lost = nominal(nothing) - nominal(made_g(Entry(late, "evaporation", -0.5)))
    mol_L = 0.034 * np.exp(2400 * (1 / 301.15 - 1 / 298.15)) * 0.97 * 1.025
    assert lost == pytest.approx(0.5 * mol_L * 44.01, rel=0.03)


@pytest.mark.parametrize(
    ("kind", "column", "extra"),
    [
        ("bubble count", "bubbles", 'volume_per_bubble = "0.50 ± 0.01 mL"\n'),
        ("flow rate", "flow [mL/h]", ""),
    ],
)
def test_bubbles_and_a_flow_meter_tell_the_same_gas(tmp_path, analyses, kind, column, extra):
    """The gas of the collector, had it been counted in bubbles of half a millilitre or read as a flow: as much CO2."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    toml = (tmp_path / "run" / "run.toml").read_text(encoding="utf-8")
    start, end = toml.index("[[gas]]"), toml.index("[ethanol]")
    route = f'[[gas]]\nkind = "{kind}"\ntable = "gas"\ncollector_temperature = "22.0 ± 0.5 °C"\n{extra}\n'
    (tmp_path / "run" / "run.toml").write_text(toml[:start] + route + toml[end:], encoding="utf-8")
    read = fk.read_run(SAMPLES / "jar_3_closes").tables["gas"]
    time, volume = (read[name].to_numpy() for name in ("time_h", "volume_mL"))
    shown = np.maximum.accumulate(np.round(volume / 0.5)) if kind == "bubble count" else np.gradient(volume, time)
    rows = [f"time [h],{column}", *(f"{t:g},{x:.6g}" for t, x in zip(time, shown))]
    (tmp_path / "run" / "gas.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    counted = fk.read_run(tmp_path / "run")
    found = gas_routes.released_by(counted.gas[0], counted)
    assert nominal(found.total()) == pytest.approx(nominal(analyses["jar_3_closes"].released[0].total()), rel=0.02)


def test_bubbles_of_unknown_size_are_not_turned_into_gas():
    """Bubbles were counted and none was measured: no CO2 is told, and the calibration that is needed is named."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    counted = run.tables["gas"].rename(columns={"volume_mL": "bubbles"})
    route = BubbleCount()
    with pytest.raises(InputError, match=r"counted in bubbles, \d+ of them, and no volume_per_bubble"):
        gas_routes.released_by(route, replace(run, gas=(route,), tables={"gas": counted}))


def test_a_vessel_of_unknown_size_has_no_gas_space():
    """Gas dissolved and above the liquid cannot be counted without the vessel: said with what is known of it."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    found = fk.analyse(replace(run, vessel=VesselSection(material="glass"), gas=run.gas[:1]), curve="gompertz")
    assert any("CO2 made: not told, since the vessel is described by material" in gap for gap in found.gaps), found.gaps
    assert "CO2" not in found.amounts


def test_a_weighed_jar_without_a_hydrometer_knows_its_samples_less_well():
    """What the samples weighed is then taken at 1020 ± 15 g/L: the same gas within its larger uncertainty."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    (scale,) = (route for route in run.gas if route.kind == "vessel weight")
    known, unknown = (gas_routes.released_by(scale, one, 3.4) for one in (run, replace(run, density=Density())))
    assert unknown.total().std_dev > known.total().std_dev
    assert 0 < abs(nominal(unknown.total()) - nominal(known.total())) < 2 * unknown.total().std_dev


def test_samples_beyond_the_standards_give_no_alcohol(tmp_path):
    """Every reading lies above the strongest standard: no content is told, the reason is, and the rest goes on."""
    shutil.copytree(SAMPLES / "jar_3_closes", tmp_path / "run")
    rng, rows = np.random.default_rng(3), ["ethanol [% vol],signal [V],temperature [°C]"]
    for content in np.linspace(0.0, 0.06, 8):
        rows.append(f"{content:.4f},{0.052 + 0.81 * content + rng.normal(0, 0.002):.4f},20.0")
    (tmp_path / "run" / "standards.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    signals = (tmp_path / "run" / "samples.csv").read_text(encoding="utf-8").splitlines()
    once = [row for row in signals if ",10," not in row]
    (tmp_path / "run" / "samples.csv").write_text("\n".join(once) + "\n", encoding="utf-8")
    found = fk.analyse(fk.read_run(tmp_path / "run"), curve="gompertz")
    assert found.ethanol_pct_vol is None and "ethanol" not in found.amounts
    assert any(gap.startswith("Ethanol: not told") for gap in found.gaps)
    assert any("outside the standards" in str(sample) for sample in found.samples)


def test_an_ingredient_fed_twice_is_weighed_both_times():
    """Grams add up; a portion in words cannot be added and is refused with what was written."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    sugar = FeedItem(ingredient="white sugar", amount="20 g", amount_g=20.0)
    once, twice = (nominal(feeding.feed_of(replace(run, feed=(*run.feed, *[sugar] * n))).hexose_g) for n in (1, 2))
    none = nominal(feeding.feed_of(run).hexose_g)
    assert twice - none == pytest.approx(2 * (once - none))
    words = FeedItem(ingredient="white sugar", amount="a spoon")
    with pytest.raises(InputError, match="white sugar is fed twice, once as 'a spoon'"):
        feeding.feed_of(replace(run, feed=(*run.feed, sugar, words)))


def test_standards_read_twice_but_only_two_afterwards_show_no_drift():
    """Two contents do not make a line with an uncertainty: drift is not judged, rather than judged falsely."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    before = run.tables["standards"].assign(when="before")
    after = before[before["ethanol_pct_vol"].isin(sorted(before["ethanol_pct_vol"].unique())[:2])].assign(when="after")
    table = type(before)(np.concatenate([before, after]), columns=before.columns).infer_objects()
    table["ethanol_pct_vol"], table["signal"] = table["ethanol_pct_vol"].astype(float), table["signal"].astype(float)
    again = replace(run, tables=run.tables | {"standards": table})
    assert alcohol.drift_of(again, alcohol.calibration_of(again)) is None


def test_the_page_of_a_difference_says_whether_it_is_one(analyses):
    """A difference in yeast beyond its uncertainty reads otherwise than one within it."""
    starved = fk.compare_runs([analyses["jar_3_closes"], analyses["jar_5_starved"]])
    yeast = next(d for d in starved.differences if d.product == "dry yeast")
    alike = replace(yeast, adjusted_p=0.6)
    assert "do not differ beyond their uncertainty" in str(alike) and "do not differ" not in str(yeast)


def test_a_run_that_measured_nothing_is_compared_by_its_estimate(analyses):
    """Yield for yield beside the estimate from the recipe, marked so, wide, and said to be no knowledge of that run."""
    jar, bare = analyses["jar_3_closes"], fk.analyse(only_fed())
    found = fk.compare_runs([jar, bare])
    measured, guessed = found.yields
    assert set(found.same) == {"yeast_yield", "ethanol_yield", "co2_yield"}
    for name in found.same:
        assert measured[name].mark is Mark.MEASURED and guessed[name].mark is Mark.RECIPE
        assert guessed[name].per_g.s > 2 * measured[name].per_g.s
    assert guessed["co2_yield"].per_g.n == pytest.approx(
        bare.estimate["co2"].value / bare.estimate["sugar_used"].value, rel=1e-6
    )
    assert sum(bare.run.name in line for line in found.not_concluded) == len(found.same)
    both = fk.compare_runs([bare, bare])
    assert {one.mark for own in both.yields for one in own.values()} == {Mark.RECIPE}


def test_runs_without_a_common_yield_are_not_compared(analyses):
    """One run lists no feed, so that nothing is known of it: which yields each has is said."""
    bare = replace(fk.analyse(only_fed()), estimate=None)
    with pytest.raises(InputError, match=r"without a yield in common \(.*: none\)"):
        fk.compare_runs([analyses["jar_3_closes"], bare])


def test_a_run_of_feed_alone_says_that_nothing_can_be_held_against_anything():
    """Verdict, carbon and gas lines of a run without readings: words instead of numbers."""
    bare = fk.analyse(only_fed())
    assert bare.consistent is None
    assert bare.carbon == (0.0, {}) and "lag of the gas" not in str(bare)
    unfed = fk.analyse(replace(bare.run, feed=(), inoculum=Inoculum()))
    assert unfed.yields == {} and "run.toml lists no feed" in unfed.answer


def test_sugar_that_nobody_measured_is_said_to_be_taken_as_used():
    """Without a value for the sugar left over all of it counts as used, and the page says so."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    alone = replace(run, residual_sugar=ResidualSugar(), tables={"gas": run.tables["gas"]})
    found = fk.analyse(alone, curve="gompertz")
    assert "Sugar left over: not told, since it was not measured" in str(found).replace("\n", " ")


def test_a_bad_route_costs_that_route_only():
    """A jar whose weight rises, or stands still: the collector's CO2 stands, and the gap is told."""
    run = fk.read_run(SAMPLES / "jar_3_closes")
    weighed = run.tables["jar_weight"]
    alone = fk.analyse(replace(run, tables={k: v for k, v in run.tables.items() if k != "jar_weight"}))
    for weight in (weighed["weight_g"].iloc[::-1].to_numpy(), np.full(len(weighed), 2000.0)):
        tables = dict(run.tables) | {"jar_weight": weighed.assign(weight_g=weight)}
        found = fk.analyse(replace(run, tables=tables))
        volume = next(curve for curve in found.gas if curve.kind == "volume")
        assert nominal(volume.total()) == pytest.approx(nominal(alone.gas[0].total()))
        assert found.routes is None and found.gaps
