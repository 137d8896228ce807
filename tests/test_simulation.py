"""The mechanistic batch: it conserves, it behaves, and the kitchen's readings have the errors they state."""

import ast
import dataclasses
import runpy
from pathlib import Path

import numpy as np
import pytest

from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal
from fermkit.matter import usual
from fermkit.matter.properties import sucrose_density, water_density
from fermkit.run.records import run_from
from fermkit.teach.fermentation import Batch, Strain, ferment
from fermkit.teach.kitchen import Kitchen, bench, draw_batch, readings, sensed
from fermkit.teach.recipe import densities, drawn_strain
from fermkit.vessel.container import Vessel

BATCHES = {
    "ordinary": Batch(),
    "starved": Batch(nitrogen_g=0.25, hours=72.0),
    "sampled": Batch(withdrawals=((6.0, 0.02), (12.0, 0.05), (20.0, 0.01))),
    "evaporating": Batch(evaporation_mL_h=2.0),
    "closed": Batch(
        closed=True,
        total_L=2.0,
        liquid_L=1.5,
        sucrose_g=15.0,
        hexose_g=0.5,
        nitrogen_g=0.2,
        yeast_g=1.2,
        vents_h=(10.0,),
    ),
    "leaking": Batch(leak_share=0.3, leak_from_h=10.0),
    "no sucrose": Batch(sucrose_g=0.0, hexose_g=80.0),
}


@pytest.mark.parametrize("name", BATCHES)
def test_carbon_and_electrons_close(name):
    """Every mole of the sugar that was used is found in a product, to nine digits."""
    carbon, electrons = ferment(BATCHES[name]).closure()
    assert carbon == pytest.approx(1.0, abs=1e-9)
    assert electrons == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize("name", BATCHES)
def test_sugar_nitrogen_and_gas_are_accounted_for(name):
    """Fed = used + left + taken; CO2 made = out + headspace + dissolved + taken."""
    batch, truth = BATCHES[name], ferment(BATCHES[name])
    a, s = truth.amounts, truth.series
    if not batch.withdrawals:
        assert a["hexose consumed"] + a["residual sugar"] == pytest.approx(a["hexose fed"], rel=1e-6)
        held = s["co2_headspace_mol"][-1] + s["co2_dissolved_mol"][-1]
        assert s["co2_out_mol"][-1] + held == pytest.approx(s["co2_produced_mol"][-1], rel=1e-5)
        assert a["yeast at the end"] == pytest.approx(batch.yeast_g + a["yeast grown"], rel=1e-5)
    assert a["cells grown"] * 0.1137 <= batch.nitrogen_g * 1.001, "no more cells than the nitrogen allows"


def test_what_samples_take_is_in_proportion():
    """A sample leaves every concentration as it was."""
    truth = ferment(Batch(withdrawals=((10.0, 0.1),)), points=4801)
    before, after = (float(truth.at("ethanol_g", t) / truth.at("liquid_L", t)) for t in (9.99, 10.0))
    assert after == pytest.approx(before, rel=3e-3)
    assert truth.at("liquid_L", 9.99) - truth.at("liquid_L", 10.0) == pytest.approx(0.1)


def test_without_growth_the_yields_are_gay_lussacs():
    """No cells, glycerol, acids or air: two ethanol and two CO2 a hexose."""
    bare = Strain(growth_g_g=0.0, acid_share=0.0, reserve_share=0.0, oxygen_per_h=0.0)
    a = ferment(Batch(strain=bare)).amounts
    assert a["ethanol made"] / a["hexose consumed"] == pytest.approx(0.51143, abs=2e-5)
    assert a["CO2 made"] / a["hexose consumed"] == pytest.approx(0.48857, abs=2e-5)


def test_starved_yeast_ferments_slower_and_grows_less():
    """Without the phosphate: a third of the yeast, a larger share of ethanol, more hours to half of the gas."""
    rich, poor = ferment(Batch(hours=72.0)), ferment(Batch(hours=72.0, nitrogen_g=0.25))
    assert poor.amounts["yeast grown"] < 0.4 * rich.amounts["yeast grown"]
    assert poor.amounts["ethanol made"] > rich.amounts["ethanol made"]

    def half_h(truth):
        gas = truth.series["co2_produced_mol"]
        return float(np.interp(gas[-1] / 2, gas, truth.time_h))

    assert half_h(poor) > half_h(rich)


def test_a_leak_hides_from_the_weight():
    """The collector misses the leak's share, the scale does not."""
    tight, leaky = ferment(Batch()), ferment(Batch(leak_share=0.2))
    assert leaky.series["lost_g"][-1] == pytest.approx(tight.series["lost_g"][-1], rel=1e-6)
    assert leaky.series["collected_mol"][-1] == pytest.approx(0.8 * tight.series["collected_mol"][-1], rel=1e-6)


def test_supersaturation_while_it_works():
    """While it ferments fast the liquid holds more CO2 than at rest; at the end about what the tables say."""
    truth = ferment(Batch())
    held = truth.series["co2_dissolved_mol"] / truth.series["liquid_L"]
    assert held.max() > 1.3 * held[-1]
    assert held[-1] == pytest.approx(0.0302, rel=0.08)


def test_a_vent_does_not_reset_the_pressure():
    """After a vent the liquid refills the headspace; before and after agree with the vessel's own reckoning."""
    keg = Batch(closed=True, total_L=2.0, liquid_L=1.5, sucrose_g=20.0, hexose_g=0.0, nitrogen_g=0.3, yeast_g=2.0)
    plain = {"salting": 1.0, "strain": Strain(oxygen_per_h=0.0), "temperature_C": 25.0}
    truth = ferment(dataclasses.replace(keg, hours=60.0, vents_h=(40.0,), **plain), points=6001)
    before, just_after, later = (float(truth.at("pressure_bar", t)) - 1.008 for t in (39.98, 40.0, 55.0))
    made = float(truth.at("co2_produced_mol", 39.9))
    assert truth.at("co2_produced_mol", 55.0) == pytest.approx(made, rel=1e-4)
    assert just_after == pytest.approx(0.0, abs=0.01)
    vessel = Vessel(
        total_L=2.0, liquid_L=1.5, temperature_C=25.0, rated_bar_gauge=4.0, barometer_bar=1.008, pH=4.8,
        solubility_vs_water=1.0,
    )  # fmt: skip
    vent = vessel.after_vent(made)
    assert before == pytest.approx(nominal(vessel.pressure(made).gauge_bar), abs=0.03)
    assert later == pytest.approx(nominal(vent.refilled_gauge_bar), abs=0.03)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"liquid_L": 3.0}, "liquid_L is 3 in a vessel of 3 L"),
        ({"hours": 0.0}, "hours is 0"),
        ({"leak_share": 1.5}, "leak_share is 1.5"),
        ({"withdrawals": ((5.0, 2.5),)}, "2.5 L are withdrawn from 2 L"),
        ({"yeast_g": -1.0}, "yeast_g is -1"),
    ],
)
def test_batches_that_cannot_be_are_refused(changes, words):
    """More liquid than vessel, no time, a leak of more than all."""
    with pytest.raises(InputError, match=words):
        ferment(Batch(**changes))


def test_the_truth_prints_itself():
    """The page says that it is a simulation."""
    text = str(ferment(Batch(hours=10.0)))
    assert "Simulated batch, 10 h" in text and "Invented" in text


def many(kitchen, batch, count, table, column):
    """The same truth read many times: shape (count, readings)."""
    truth = ferment(batch)
    out = []
    for seed in range(count):
        _, tables = readings(truth, np.random.default_rng(seed), kitchen)
        out.append(np.array(tables[table][column], dtype=float))
    return truth, np.array(out)


def test_the_collector_errs_as_it_says():
    """Errors per increment add up along the curve, the common factor moves it as one."""
    kitchen = Kitchen(
        u_volume_factor=0.0, most_loss_to_water=0.0, u_collector_C=0.0, u_increment_mL=20.0, u_reading_mL=0.0
    )
    batch = draw_batch(kitchen, np.random.default_rng(1))
    _, read = many(kitchen, batch, 400, "gas", "volume [mL]")
    spread = read.std(axis=0)
    assert spread[0] == 0.0
    assert spread[-1] == pytest.approx(20.0 * np.sqrt(read.shape[1] - 1), rel=0.12)
    assert np.diff(read, axis=1).std(axis=0).mean() == pytest.approx(20.0, rel=0.05)

    kitchen = Kitchen(
        u_volume_factor=0.05, most_loss_to_water=0.0, u_collector_C=0.0, u_increment_mL=0.0, u_reading_mL=0.0
    )
    _, read = many(kitchen, batch, 400, "gas", "volume [mL]")
    late = read[:, -10:]
    assert (late.std(axis=0) / late.mean(axis=0)).mean() == pytest.approx(0.05, rel=0.12)
    assert np.corrcoef(late[:, 0], late[:, -1])[0, 1] > 0.99


def test_the_collector_reads_the_gas_that_left():
    """Without errors the volume, taken back to moles by hand, is what the truth says was collected."""
    kitchen = Kitchen(
        u_volume_factor=0, most_loss_to_water=0, u_collector_C=0, u_increment_mL=0, u_reading_mL=0, u_barometer_bar=0
    )
    truth, read = many(kitchen, draw_batch(kitchen, np.random.default_rng(2)), 1, "gas", "volume [mL]")
    litres, dry_bar, kelvin, z = read[0, -1] / 1000, 1.008 - 0.02645, 295.15, 0.9952
    assert dry_bar * litres / (z * 0.0831446 * kelvin) == pytest.approx(truth.series["collected_mol"][-1], rel=1e-3)


def test_what_is_stated_scatters_about_the_truth_as_stated():
    """(truth − statement)/u has a mean of 0 and a spread of 1, for the sugar weighed in and the vessel."""
    kitchen = Kitchen()
    batches = [draw_batch(kitchen, np.random.default_rng(seed)) for seed in range(400)]
    sugar_u = np.hypot(kitchen.molasses_g * kitchen.u_sucrose, kitchen.sucrose * kitchen.u_feed_g)
    for off in (
        [(b.sucrose_g - kitchen.molasses_g * kitchen.sucrose) / sugar_u for b in batches],
        [(b.total_L - kitchen.total_L) / kitchen.u_total_L for b in batches],
    ):
        assert abs(np.mean(off)) < 0.15 and np.std(off) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("gas", ["volume", "weight", "both", "pressure"])
def test_every_kind_of_kitchen_makes_a_run_that_reads(gas):
    """What the kitchen writes is read without a doubt."""
    closed = {"closed": "vented", "vents_h": (10.0,), "molasses_g": 40.0} if gas == "pressure" else {}
    kitchen = Kitchen(gas=gas, hours=30.0, **closed)
    rng = np.random.default_rng(5)
    run = run_from(*readings(ferment(draw_batch(kitchen, rng)), rng, kitchen))
    assert [d for d in run.doubts if "stands out of line" not in d.sentence] == []
    assert len(run.gas) == (2 if gas == "both" else 1)
    assert run.invented


def test_an_undiluted_sample_has_no_pipetting_error():
    """With a perfect sensor undiluted readings differ by the bench's warmth alone; a diluted one by its pipette."""
    kitchen = Kitchen(dilutions=(1, 2), u_signal_V=0.0, u_pipetting=0.2, samples_h=(), hours=10.0)
    truth = ferment(draw_batch(kitchen, np.random.default_rng(1)))
    rows = [readings(truth, np.random.default_rng(seed), kitchen)[1]["samples"]["signal [V]"] for seed in range(30)]
    seen = np.array([[float(row[0]), float(row[3])] for row in rows]) - kitchen.blank_V
    undiluted, diluted = seen.std(axis=0) / seen.mean(axis=0)
    assert undiluted == pytest.approx(0.0068, rel=0.4) and diluted > 0.1


def test_densities_are_those_of_the_masses_dissolved():
    """Solids per mass of liquid give the first density back, and what is left beside the ethanol gives the last."""
    truth = ferment(Batch())
    first, last = densities(truth)
    batch = truth.batch
    cool = float(water_density(batch.temperature_C) / water_density(20.0))
    solids = batch.sucrose_g + batch.hexose_g + batch.solids_g
    assert float(sucrose_density(solids / (first * batch.liquid_L * cool), 20.0)) == pytest.approx(first, abs=1e-6)
    without_alcohol = last + 0.181 * truth.series["ethanol_g"][-1] / truth.series["liquid_L"][-1]
    left = batch.solids_g + 0.61 * truth.amounts["glycerol"] + truth.amounts["succinic acid"]
    assert without_alcohol == pytest.approx(998.2 + 0.386 * left / batch.liquid_L, abs=0.3)


def test_a_warmer_sample_smells_stronger():
    """The sensor above the liquid shows some 7 % more for each kelvin that the thermometer shows too."""
    rng, kitchen = np.random.default_rng(0), Kitchen(u_signal_V=1e-9)
    shown = np.array([sensed(1.0, bench(rng), rng, kitchen) for _ in range(2000)], dtype=float)
    slope = np.polyfit(shown[:, 1], shown[:, 0] - kitchen.blank_V, 1)[0] / kitchen.slope_V
    assert slope == pytest.approx(0.068 * 0.1**2 / (0.1**2 + 0.05**2 + 0.1**2 / 12), rel=0.15)


def test_the_generator_reads_nothing_of_the_methods():
    """Its by-products, yeast, store and losses are its own: of this library it imports published physics alone."""
    allowed = {"basis", "matter.alcohol", "matter.composition", "matter.properties", "teach"}
    for name in ("batches", "fermentation", "kitchen", "recipe"):
        tree = ast.parse(Path(ferment.__code__.co_filename).with_name(f"{name}.py").read_text(encoding="utf-8"))
        modules = [node.module for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)]
        ours = [module.removeprefix("fermkit.") for module in modules if module.startswith("fermkit.")]
        assert all(module in allowed or module.split(".")[0] in ("basis", "teach") for module in ours), (name, ours)


def test_the_generator_draws_wider_than_what_is_usual():
    """By-products, ash and store of 400 drawn yeasts reach beyond the ranges that the methods take as usual."""
    rng = np.random.default_rng(0)
    strains = [drawn_strain(rng) for _ in range(400)]
    for name, ranges in (
        ("glycerol_mmol_g", (usual.GLYCEROL["mixture"],)), ("acid_share", (usual.ACIDS,)), ("ash", (usual.ASH,)),
    ):  # fmt: skip
        drawn = [getattr(strain, name) for strain in strains]
        for each in ranges:
            assert max(drawn) - min(drawn) > 1.05 * (each.high - each.low), name
            assert min(drawn) <= max(each.low, 0.002) and max(drawn) >= each.high, name


@pytest.mark.parametrize("kind", ["waking", "memory", "delayed"])
def test_yeasts_of_other_structure_close_too(kind):
    """Carbon and electrons close for each kind of the study's yeasts, whatever it makes besides and however it lags."""
    draw = runpy.run_path(str(Path(__file__).parent / "benchmarks" / "structures.py"))["GENERATORS"][kind]
    strain = draw(np.random.default_rng(4))
    truth = ferment(Batch(strain=strain, keeps=1.08, swelling_L_mol=0.0356))
    assert truth.closure() == pytest.approx((1.0, 1.0), abs=1e-5)
    early = truth.at("ethanol_g", getattr(strain, "late_h", 0.0) / 2)
    assert early < 0.02 * truth.amounts["ethanol made"]
    rest = float(truth.series["co2_dissolved_mol"][-1])
    plain = float(ferment(Batch(strain=strain, swelling_L_mol=0.0356)).series["co2_dissolved_mol"][-1])
    assert rest == pytest.approx(1.08 * plain, rel=0.02)  # what a liquid that is not stirred keeps
