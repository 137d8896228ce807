"""What the measurements could have seen, and what to measure next."""


import numpy as np
import pytest
from balance_runs import KITCHEN, LABORATORY, run
from benchmarks import balance_study as study
from scipy import integrate, stats
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.faults import (
    usual_faults,
)
from fermkit.balance.measurements import CANDIDATES, _information, _reading, gain
from fermkit.balance.ranking import rank


@pytest.mark.parametrize(
    ("mistake", "column"),
    [("CO2 lost", 2), ("wet", 3), ("sugar left", 0)],
)
def test_detection_limit_is_where_the_alarm_comes_four_times_in_five(mistake, column):
    """Runs with a mistake of the printed size alarm in 80 ± 5 % of simulations."""
    rng = np.random.default_rng(11)
    exact = {"glucose": -ufloat(100, 0.001), "ethanol": None, "CO2": None, "yeast": ufloat(5, 0.001)}
    closing = Balance(exact).reconcile()  # ethanol and CO2 that close with the usual by-products
    reported = np.array([-100.0, closing["ethanol"].n, closing["CO2"].n, 5.0])
    limit = study.balance(reported, "kitchen").detection_limits()[mistake].smallest[0]
    evidence, faults = study.template("kitchen")
    undo = next(f for f in faults if f.key == mistake).factor(np.array([limit]))[0]
    runs = 100 * study.true_runs(rng, 1500, yeast=0.05)
    runs[:, column] /= undo
    runs *= 1 + rng.standard_normal(runs.shape) * KITCHEN
    alarms = [study.misfit(study.refill(evidence, row, "kitchen")) > stats.chi2.ppf(0.95, 2) for row in runs]
    assert np.mean(alarms) == pytest.approx(0.8, abs=0.05)


def test_better_measurements_see_smaller_mistakes():
    """Laboratory-grade measurements see a leak several times smaller."""
    kitchen, laboratory = (
        run(u=u).detection_limits()["CO2 lost"].smallest[0] for u in (KITCHEN, LABORATORY)
    )
    assert laboratory < kitchen / 2


def test_measure_next_ranks_by_what_is_settled():
    """After a wet product, drying again settles more than another look at the sugar."""
    found = {s.name: s.share for s in run(yeast=20).measure_next().ranked}
    assert all(0 <= share <= 1 + 1e-9 for share in found.values())
    assert found["dry the yeast again to constant weight"] > 0.3
    per_hour = [s.share / s.effort_h for s in run(yeast=20).measure_next().ranked]
    assert per_hour == sorted(per_hour, reverse=True)
    assert (
        found["dry the yeast again to constant weight"] > found["find the sugar's weight again (bag, receipt, scale)"]
    )


def ranked(**change):
    """Evidence and ranking of a run."""
    evidence = run(**change)._evidence(with_yield=True)
    return evidence, rank(evidence, usual_faults(evidence))


def test_a_reading_tells_two_explanations_apart_by_shannons_measure():
    """Two answers two standard uncertainties apart: 0.486 of one bit, as for a binary signal at 0 dB."""
    even, u = np.array([0.5, 0.5]), np.ones(2)
    lost = integrate.quad(lambda z: stats.norm.pdf(z) * np.log2(1 + np.exp(-2 - 2 * z)), -12, 12)[0]
    assert _information(even, np.array([-1.0, 1.0]), u) == pytest.approx(1 - lost, abs=1e-3)
    assert _information(even, np.array([-9.0, 9.0]), u) == pytest.approx(1.0, abs=1e-3)
    assert _information(even, np.zeros(2), u) == pytest.approx(0.0, abs=1e-6)
    assert _information(np.array([0.5, 0.5, 0.0]), np.array([-1.0, 1.0, 9.0]), np.ones(3)) == pytest.approx(
        1 - lost, abs=1e-3
    )


def test_looking_settles_one_question():
    """Tight joints rule out the leak and nothing else: the question 'leak or not' is settled (Shannon's rule)."""
    evidence, ranking = ranked()
    joints = next(c for c in CANDIDATES if c.name.startswith("test the joints"))
    keys = [one.fault.key for one in ranking.ranked]
    among = (keys.index("CO2 lost"), keys.index("sugar left"), keys.index("acids"))
    w = ranking.probabilities[list(among)] / ranking.probabilities[list(among)].sum()
    doubt = -(w * np.log2(w)).sum()
    question = -(w[0] * np.log2(w[0]) + (1 - w[0]) * np.log2(1 - w[0]))
    assert gain(joints, evidence, ranking, among) * doubt == pytest.approx(question)
    assert gain(joints, evidence, ranking, among[:2]) == pytest.approx(1.0)
    assert gain(joints, evidence, ranking, among[1:]) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize(
    ("change", "start", "stream", "fault", "relative_u"),
    [
        (dict(yeast=20), "dry the yeast", "yeast", "wet", 0.03),
        (dict(sugar=80), "find the sugar", "glucose", "misread:glucose", 0.005),
        (dict(ethanol=38), "measure the ethanol again", "ethanol", "misread:ethanol", 0.02),
    ],
)
def test_measuring_again_would_read_what_the_explanation_says(change, start, stream, fault, relative_u):
    """Under an explanation the new reading is the corrected value, as doubtful as it and the new measurement are."""
    evidence, ranking = ranked(**change)
    again = next(c for c in CANDIDATES if c.name.startswith(start))
    corrected = run(**change).explain()[fault].corrected[stream]
    mean, sd = _reading(again, evidence, next(one for one in ranking.ranked if one.fault.key == fault))
    assert mean == pytest.approx(abs(corrected.n), rel=1e-6)
    assert sd == pytest.approx(np.hypot(corrected.s, relative_u * mean), rel=0.03)
    as_reported = _reading(again, evidence, None)
    reported = abs(run(**change).streams[stream].n)
    assert as_reported == pytest.approx((reported, relative_u * reported), rel=0.05)


@pytest.mark.parametrize(
    ("change", "start", "fault", "floor"),
    [
        (dict(sugar=125), "test strip", "sugar left", 0.01),
        (dict(sugar=110), "titrate the acids", "acids", 0.003),
    ],
)
def test_looking_for_what_was_not_measured_reads_its_share_of_the_sugar(change, start, fault, floor):
    """A strip reads the sugar left under that explanation, and nothing (to within its floor) under any other."""
    evidence, ranking = ranked(**change)
    look = next(c for c in CANDIDATES if c.name.startswith(start))
    size = run(**change).explain()[fault].size
    by_key = {one.fault.key: one for one in ranking.ranked}
    mean, sd = _reading(look, evidence, by_key[fault])
    assert mean == pytest.approx(size.n * change["sugar"], rel=1e-6)
    assert sd == pytest.approx(np.hypot(size.s * change["sugar"], look.relative_u * mean), rel=1e-6)
    for other in (by_key["wet"], None):
        assert _reading(look, evidence, other) == pytest.approx((0.0, floor * change["sugar"]))


def test_efforts_are_printed_in_minutes_and_hours():
    """A strip takes minutes, a titration an hour."""
    page = str(run().measure_next())
    assert "about 18 min" in page and "about 1 h" in page and "about 3 h" in page
