"""Around the vessel: the room's air, CO2 in the liquid, warmth and pH in time, a scale that creeps."""

import numpy as np
import pytest
from uncertainties import ufloat

import fermkit as fk
from fermkit.basis.errors import InputError
from fermkit.basis.written import nominal, uncertainty
from fermkit.gas.dissolved import co2_shaken_out, co2_titrated
from fermkit.gas.room import DANGER_PPM, Exposure, gas_from_room, room_air, steady_ppm
from fermkit.run.around import Acidity, around_of
from fermkit.show.report import html_report

CUPBOARD = {"room_m3": 0.4, "air_changes_per_h": 0.2, "outdoor_ppm": 440.0, "headspace_L": 1.0, "temperature_C": 22.0}
MOL_PER_PPM = 0.4 * 1000 * 1.01325 / (0.0831446 * 295.15) * 1e-6


def rising(source_mol_h, hours):
    """CO2 of the cupboard under a steady source, exactly: c = c_out + (g/k) (1 − exp(−k t))."""
    t = np.asarray(hours, dtype=float)
    return 440.0 + source_mol_h / MOL_PER_PPM / 0.2 * (1 - np.exp(-0.2 * t))


def test_a_steady_source_is_found_again():
    """0.02 mol an hour out of a vessel whose gas space is full of CO2 from the start of the log on."""
    hours = np.arange(0, 48.1, 0.5)
    ppm = rising(0.02, hours)
    found = gas_from_room(hours, ppm, **CUPBOARD | {"headspace_L": 1e-4})
    assert nominal(found.total()) == pytest.approx(0.96, rel=2e-3)
    assert np.allclose(found.co2_mol, 0.02 * hours, rtol=0.01, atol=1e-3)
    more = gas_from_room(hours, ppm, **CUPBOARD)  # a litre of gas space keeps 0.04 mol of what left the liquid
    assert nominal(more.total()) - nominal(found.total()) == pytest.approx(0.9899 / (0.0831446 * 295.15), rel=0.01)


def test_people_are_taken_off_and_widen_it():
    """A person in the room for a tenth of the time breathes as much as the jar."""
    hours = np.arange(0, 48.1, 0.5)
    alone = gas_from_room(hours, rising(0.1, hours), **CUPBOARD)
    with_one = gas_from_room(hours, rising(0.1, hours), people=ufloat(0.1, 0.03), **CUPBOARD)
    assert nominal(alone.total()) - nominal(with_one.total()) == pytest.approx(0.1 * 16 / 24.2 * 48, rel=0.05)
    assert uncertainty(with_one.total()) > 0.3
    assert len(with_one.remarks) > len(alone.remarks)


def test_a_room_that_brings_nothing_is_refused():
    """The air outside explains all of it."""
    with pytest.raises(InputError, match="left of the room"):
        gas_from_room([0, 24, 48], [440, 445, 440], **CUPBOARD | {"outdoor_ppm": 460.0})


@pytest.mark.parametrize(
    ("ppm", "exposure"),
    [(500, Exposure.BELOW), (4990, Exposure.BELOW), (5010, Exposure.DAY), (30_100, Exposure.SHORT),
     (DANGER_PPM, Exposure.DANGER)],
)  # fmt: skip
def test_the_limits_for_people_at_work(ppm, exposure):
    """A steady reading against each limit; what is below promises nothing."""
    found = room_air([0, 10, 20], [ppm] * 3)
    assert found.exposure is exposure
    assert found.page().alarm is (exposure is not Exposure.BELOW)
    assert "no promise" in str(found)


def test_a_short_peak_is_no_working_day_but_counts_at_once():
    """Ten minutes at 45 000 ppm: dangerous, though the mean of eight hours is low."""
    found = room_air([0, 7.9, 8.0, 8.1, 8.2, 16], [450, 450, 45_000, 45_000, 450, 450])
    assert found.exposure is Exposure.DANGER and found.day_ppm < 5000


def test_means_are_those_of_straight_lines():
    """A triangle of eight hours to 10 000 ppm has the mean 5000, wherever its window lies."""
    assert room_air([0, 20, 24, 28, 60], [0, 0, 10_000, 0, 0]).day_ppm == pytest.approx(5000, rel=1e-3)
    assert room_air([0, 3], [1000, 3000]).day_ppm == pytest.approx(2000)  # a shorter log: all of it


def test_shaking_takes_no_more_out_than_there_was():
    """The more air the more comes out; what stays is added, so that the sum does not move."""
    sums = []
    for air in (10.0, 40.0):
        # 1.5 g/L in 30 mL, by hand: x mL of growth with K = c/p of water at 20 °C
        low, high = 0.0, 30.0
        for _ in range(60):
            x = (low + high) / 2
            told = co2_shaken_out(30.0, air, air + x, temperature_C=20.0, solubility_vs_water=1.0)
            low, high = (x, high) if told < 1.5 else (low, x)
        sums.append(x)
    assert sums[1] > sums[0] > 5
    with pytest.raises(InputError, match="of gas after shaking"):
        co2_shaken_out(30.0, 30.0, 29.0, temperature_C=20.0)


def test_a_flat_sample_is_needed_for_the_titration():
    """As much base for the flat sample as for the fresh one is no CO2."""
    assert nominal(co2_titrated(5.0, 0.1, 10.0, flat_mL=1.6)) == pytest.approx(3.4 * 0.1 / 10 * 44.009)
    with pytest.raises(InputError, match="of base fresh"):
        co2_titrated(1.6, 0.1, 10.0, flat_mL=1.6)


SETTINGS = {
    "run": {"name": "cupboard", "state": "stopped"}, "vessel": {"liquid": "2.0 L", "total": "3 L"},
    "feed": [{"ingredient": "white sugar", "amount": "140 g"}],
    "inoculum": {"ingredient": "active dry yeast", "amount": "5 g"},
}  # fmt: skip
ROOM = {"volume": "0.40 ± 0.02 m3", "air_changes": "0.20 ± 0.02", "outdoor": "440 ± 20 ppm"}


def run_of(tables=None, **sections):
    """A small run, and what was read around it."""
    return fk.run_from(SETTINGS | sections, tables or {})


def test_dissolved_co2_is_a_reading_of_the_batch():
    """Two ways, both in the estimate; without them what the liquid holds is assumed."""
    told = {"sample": "30 mL", "air": "30 mL", "gas": "44 mL", "temperature": "20 °C"}
    bare, seen = fk.analyse(run_of()), fk.analyse(run_of(dissolved_co2=told))
    assert [reading.kind for reading in seen.estimate.readings] == ["dissolved CO2"]
    assert seen.estimate["co2_in_liquid"].u < 0.5 * bare.estimate["co2_in_liquid"].u
    assert seen.estimate["co2_in_liquid"].value == pytest.approx(2 * 1.34, abs=0.15)
    half = fk.analyse(run_of(dissolved_co2={"base": "5.0 mL", "sample": "10 mL", "strength": "0.1 mol/L"}))
    assert any("flat" in gap for gap in half.gaps) and not half.dissolved


def test_the_room_is_a_route_and_a_warning():
    """The log gives gas for the estimate, and stands first on the page where people must not stay."""
    hours = np.arange(0, 48.1, 2.0)
    table = {"time [h]": list(hours), "co2 [ppm]": [round(x) for x in rising(0.028, hours)]}
    found = fk.analyse(run_of({"gas": table}, gas=[{"kind": "room air"}], room=ROOM), curve="gompertz")
    assert "room air" in [reading.kind for reading in found.estimate.readings]
    assert found.room.air.exposure is Exposure.DAY and str(Exposure.DAY) in found.first_words[0]
    assert nominal(found.room.all_of_it_ppm) > nominal(found.room.steady_ppm) > 5000
    assert "CO2 in the air of the room" in html_report(found)
    told = fk.analyse(run_of(room=ROOM))
    assert told.room.air is None and nominal(told.room.all_of_it_ppm) > 40_000  # 60 g in 400 L of air


def test_a_log_without_a_room_says_what_it_needs():
    """No volume: the route is a gap, the limits are still told."""
    table = {"time [h]": [0, 12, 24], "co2 [ppm]": [450, 6000, 6500]}
    found = fk.analyse(run_of({"gas": table}, gas=[{"kind": "room air"}]))
    assert any("[room] tells no volume" in gap for gap in found.gaps)
    assert found.room is not None and found.room.air.exposure is Exposure.DAY and "nan" not in str(found.room)


@pytest.mark.parametrize(
    ("pH", "acidity"),
    [([5.2, 4.4, 3.8], Acidity.USUAL), ([5.6, 5.5, 5.4], Acidity.HIGH), ([4.4, 4.3, 4.2], Acidity.STEADY),
     ([5.0, 3.2, 3.1], Acidity.LOW), ([5.0, 2.8, 2.9], Acidity.SOUR)],
)  # fmt: skip
def test_what_the_pH_says(pH, acidity):
    """A verdict for each course; from 4.6 up the caution of acid foods."""
    run = run_of({"acidity": {"time [h]": [0, 12, 48], "pH": pH}})
    found = around_of(run)
    assert found.acidity is acidity
    assert ("21 CFR 114" in str(found)) is (pH[-1] >= 4.6)
    assert nominal(run.conditions.pH) == pH[-1]  # the estimate takes the last one


def test_a_logged_temperature_is_the_liquids():
    """The mean over the time, not over the rows; a told one goes before it."""
    log = {"temperature": {"time [h]": [0, 1, 2, 22], "temperature [°C]": [20, 20, 20, 30]}}
    assert nominal(run_of(log).conditions.temperature_C) == pytest.approx((2 * 20 + 20 * 25) / 22)
    assert nominal(run_of(log, conditions={"temperature": "28 °C"}).conditions.temperature_C) == 28
    assert around_of(run_of(log)).warm_at_h == 22


def test_a_scale_that_creeps_is_put_right_in_the_sense_that_is_told():
    """Shown 0.1 g less each hour by itself: drift = -0.1 g/h takes it off; untold, the usual ± is carried."""
    hours = np.arange(0, 49.0, 4.0)
    weight = 3500.0 - 60 * np.minimum(hours / 36, 1.0) - 0.1 * hours

    def total(**more):
        table = {"gas": {"time [h]": list(hours), "weight [g]": list(weight)}}
        run = run_of(table, gas=[{"kind": "vessel weight", "u_reading": "0.1 g", **more}])
        return fk.analyse(run, only=("feed", "released")).released[0].total() * 44.009

    plain, righted = total(drift="0.000 ± 0.001 g/h"), total(drift="-0.100 ± 0.001 g/h")
    assert nominal(plain) - nominal(righted) == pytest.approx(4.8, rel=0.05)
    assert uncertainty(total()) == pytest.approx(np.hypot(uncertainty(plain), 0.02 * 48), rel=0.1)


def test_a_larger_room_and_more_air_mean_less_co2():
    """Twice the air, half of what it rises."""
    one = steady_ppm(0.5, 30.0, 0.5, 420.0) - 420
    assert steady_ppm(0.5, 60.0, 0.5, 420.0) - 420 == pytest.approx(one / 2)
    assert steady_ppm(0.5, 30.0, 1.0, 420.0) - 420 == pytest.approx(one / 2)


def test_a_leak_shows_between_the_collector_and_the_room():
    """A fifth is missing in the collector and not in the cupboard."""
    hours = np.arange(0, 48.1, 1.0)
    made = 1.3 / (1 + np.exp(-(hours - 16) / 4))
    made -= made[0]
    room = gas_from_room(hours, 440 + (made / MOL_PER_PPM), u_reading_ppm=30, **CUPBOARD | {"air_changes_per_h": 0.0})
    caught = fk.gas_from_volume(hours, 0.8 * (made + 0.04) * 24750, temperature_C=22.0, loss_to_water=(0, 0),
                                u_reading_mL=20, u_increment_mL=10)  # fmt: skip
    found = fk.compare_routes(caught, room)
    assert found.kinds == ("room", "volume")
    assert nominal(found.leak) == pytest.approx(0.2, abs=0.03)
