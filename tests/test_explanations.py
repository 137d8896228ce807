"""Which mistake made the gap: names, sizes and probabilities, against Bayes' rule by brute force."""


import numpy as np
import pytest
from balance_runs import run
from benchmarks import balance_study as study
from scipy import stats
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.faults import (
    BYPRODUCT,
    CO2_LOST,
    DRY_SHARE,
    ETHANOL_LOST,
    HEXOSE_PER_SUCROSE,
    MISREAD,
    SOLIDS,
    SUGAR_LEFT,
    usual_faults,
)
from fermkit.balance.ranking import rank
from fermkit.basis.written import in_percent, nominal

SLIPS = [
    (dict(co2=44.7 / 6), "third"),
    (dict(co2=100 / 180.156 / 3 * 44.009), "third"),  # from the sugar, instead of a measurement
    (dict(ethanol=45.636 / 0.801), "by mass"),
    (dict(ethanol=45.636 * 0.801), "label"),
    (dict(ethanol=45.636 * 10), "dilution"),
    (dict(ethanol=45.636 / 5), "dilution"),
    (dict(ethanol=45.636 / 2), "dilution"),  # "1 + 1 parts" read as undiluted
    (dict(sugar=100 / HEXOSE_PER_SUCROSE), "sucrose"),
    (dict(yeast=5 / 0.25), "wet"),
    (dict(yeast=5 / 0.5), "solids"),
    (dict(co2=44.7 * 0.8), "CO2 lost"),
    (dict(ethanol=45.636 * 0.85), "ethanol lost"),
    (dict(sugar=125), "sugar left"),
    (dict(sugar=80), "misread:glucose"),
]


@pytest.mark.parametrize(("change", "mistake"), SLIPS)
def test_the_mistake_is_in_the_first_group(change, mistake):
    """Each mistake, made alone on a laboratory-grade run, is among the first group."""
    found = run(**change).explain()
    assert found.gap_p_value < 0.05
    assert mistake in [e.key for e in found.groups[0]]


def test_the_corrected_value_is_the_true_one():
    """Undoing the slip gives back what was there, within its uncertainty."""
    third = run(co2=44.7 / 6).explain()["third"]
    assert third.corrected["CO2"].n == pytest.approx(44.7, abs=2 * third.corrected["CO2"].s)
    assert third.reported == {"CO2": pytest.approx(44.7 / 6)}
    leak = run(co2=44.7 * 0.8).explain()["CO2 lost"]
    assert leak.corrected["CO2"].n == pytest.approx(44.7, abs=2 * leak.corrected["CO2"].s)
    assert leak.size.n == pytest.approx(0.2, abs=2 * leak.size.s)


def test_glucose_taken_for_sucrose_is_found_where_sucrose_was_written():
    """100 g that were glucose and were entered as sucrose; no such slip is thought of where glucose was entered."""
    rest = {"ethanol": ufloat(45.636, 0.5), "CO2": ufloat(44.7, 0.3), "yeast": ufloat(5, 0.2)}
    found = Balance({"sucrose": -ufloat(100, 0.3), **rest}).explain()
    assert found.gap_p_value < 0.05
    slip = next(e for e in found.groups[0] if e.name == "glucose taken for sucrose")
    assert nominal(slip.corrected["sucrose"]) == pytest.approx(-95.0, abs=0.01)
    everything = [e.name for g in run(co2=35).explain().groups for e in g]
    assert "sucrose taken for glucose" in everything and "glucose taken for sucrose" not in everything


@pytest.mark.parametrize(
    ("product", "extra", "name"),
    [("acids", "extra_acids", "organic acids beyond the usual"),
     ("glycerol", "extra_glycerol", "glycerol beyond what growth needs")],
)  # fmt: skip
def test_a_product_that_nobody_measured_is_sized(product, extra, name):
    """A tenth of the carbon in acids or glycerol beyond the usual is named with its grams, within its uncertainty."""
    true = 100 * study.true_runs(np.random.default_rng(2), 1, **{extra: 0.1})[0]
    found = next(e for g in study.balance(true, "laboratory").explain().groups for e in g if e.name == name)
    grams = 0.1 * 100 * 6 / 180.156 * {"acids": 30.026, "glycerol": 92.094 / 3}[product]
    assert found.corrected[f"more {product}"].n == pytest.approx(grams, abs=2 * found.corrected[f"more {product}"].s)
    assert found.size.n == pytest.approx(0.1, abs=2 * found.size.s)
    assert found.size.s < 0.03


def test_what_is_left_once_the_mistake_is_undone_is_chance():
    """With the true mistake undone one of two tests remains: its p is uniform, one half on average."""
    rng = np.random.default_rng(9)
    reported, _ = study.measured(rng, study.true_runs(rng, 60) * [1 / 0.8, 1, 1, 1], "laboratory")
    p = [
        next(
            e.p_value
            for g in study.balance(row, "laboratory").explain().groups
            for e in g
            if e.name == "sugar left over"
        )
        for row in reported
    ]
    assert np.mean(p) == pytest.approx(0.5, abs=0.12)
    assert stats.kstest(p, "uniform").pvalue > 0.01


@pytest.mark.parametrize(
    ("sizes", "half"),
    [
        (MISREAD, 0.0),
        (BYPRODUCT, 0.034),
        (SUGAR_LEFT, 0.169),
        (CO2_LOST, 0.169),
        (ETHANOL_LOST, 0.067),
        (DRY_SHARE, 0.575),
        (SOLIDS, 0.3),
    ],
)
def test_half_of_the_mistakes_are_smaller_than_their_usual_size(sizes, half):
    """What the printed priors mean: half of all leaks lose under 17 % of the gas."""
    drawn = study.drawn(sizes, np.random.default_rng(4).random(20_000))
    assert np.median(drawn) == pytest.approx(half, abs=0.01)
    share = np.linspace(0.01, 0.99, 50)
    assert sizes.below(study.drawn(sizes, share)) == pytest.approx(share)
    assert np.mean(drawn < half) == pytest.approx(float(sizes.below(np.array([half]))[0]), abs=0.02)
    if sizes is not MISREAD:
        assert drawn.min() >= 0 and drawn.max() < 1  # shares


@pytest.mark.parametrize("change", [{}, {"ethanol": 38}, {"co2": 30}])
def test_every_mistake_has_one_share_of_belief(change):
    """However finely its sizes are laid out, their shares add up to one: no mistake is favoured for having many."""
    evidence = run(**change)._evidence(with_yield=True)
    for one in rank(evidence, usual_faults(evidence)).ranked:
        assert np.exp(one.nodes.log_share).sum() == pytest.approx(1, abs=1e-3), one.fault.name
        assert (one.nodes.factors > 0).all()


def test_probabilities_add_up():
    """All explanations and chance together make one; each group begins with its likeliest."""
    found = run(yeast=15).explain()
    assert sum(e.probability for g in found.groups for e in g) + found.chance == pytest.approx(1)
    assert all(g[0].probability == max(e.probability for e in g) for g in found.groups)


def test_a_good_run_is_called_good():
    """Where the balance closes, chance is the best explanation and the heading says so."""
    found = run().explain()
    assert found.chance > 0.5
    assert found.gap_p_value > 0.5 and found.fits


def test_a_group_names_what_would_split_it():
    """A leak and a misread CO2 look alike; testing the joints tells them apart."""
    found = run(co2=35).explain()
    assert {e.key for e in found.groups[0]} == {"CO2 lost", "misread:CO2"}
    assert "leaks" in found.splits[0]
    assert "to tell them apart" in str(found)
    for explanation in found.groups[0]:
        assert in_percent(explanation.probability) in str(found)
        assert explanation.name in found.in_one_sentence()


@pytest.mark.parametrize("factor", [2, 4, 5, 10, 20, 50, 100])
@pytest.mark.parametrize("twice", [True, False])
def test_every_usual_dilution_is_thought_of(factor, twice):
    """A whole dilution too much or too little is undone exactly, for every factor of the bench."""
    wrong = 45.636 * (factor if twice else 1 / factor)
    slip = run(ethanol=wrong).explain()["dilution"]
    assert slip.p_value > 0.5
    assert nominal(slip.corrected["ethanol"]) == pytest.approx(45.636, rel=1e-6)


def test_explanations_print_their_priors():
    """The page says which priors the probabilities stand on."""
    page = str(run(co2=30).explain())
    assert "nothing wrong 50 %" in " ".join(page.split()) and "Usual sizes" in page
    assert "0.070 ± 0.042 g per g sugar" in " ".join(page.split())
    assert "per g sugar" not in str(run(co2=30, aerated=True).explain())


def test_explanations_work_without_the_usual_streams():
    """Aerated growth on glycerol, nothing fermented: still ranked."""
    bal = Balance(
        {"glycerol": -ufloat(100, 1), "O2": -ufloat(70, 1), "biomass": ufloat(40, 1), "CO2": ufloat(50, 1)}, ash=0.08
    )
    assert bal.explain().gap_p_value < 0.05
    assert bal.explain().best.probability > 0


def test_probabilities_equal_bayes_rule_by_brute_force():
    """Probabilities of ten odd runs agree with the share of 60,000 simulated runs of each kind that fit them."""
    reported = np.array(
        [
            [-100, 38, 44.7, 5],
            [-100, 45.6, 38, 5],
            [-100, 45.6, 44.7, 16],
            [-88, 45.6, 44.7, 5],
            [-100, 55, 44.7, 5],
            [-100, 45.6, 53, 5],
            [-113, 45.6, 44.7, 5],
            [-100, 40, 40, 8],
            [-100, 48, 41, 3],
            [-100, 45.6, 44.7, 5],
        ],
        dtype=float,
    )
    exact = study.bayes_weights("kitchen", reported, bank=60_000)
    evidence, faults = study.template("kitchen")
    ours = np.array([rank(study.refill(evidence, row, "kitchen"), faults).probabilities for row in reported])
    assert np.abs(ours - exact).max() < 0.13
    assert np.abs(ours - exact).sum(axis=1).mean() < 0.11


@pytest.mark.slow
def test_the_study_in_short():
    """Good runs alarm about as often as stated, and the true mistake is in the first group where it can be seen."""
    names, outcomes = study.simulate("laboratory", 40, 400, seed=4)
    good = [o for o in outcomes if o.truth == len(names)]
    assert 0.02 < np.mean([o.alarm for o in good]) < 0.08
    faulty = [o for o in outcomes if o.truth < len(names)]
    assert np.mean([o.alarm for o in faulty]) == pytest.approx(np.mean([o.power for o in faulty]), abs=0.05)
    strong = [o for o in faulty if o.alarm and o.power >= 0.8]
    assert np.mean([o.truth in o.groups[0] for o in strong]) > 0.9
    assert np.median([len(o.groups[0]) for o in strong]) <= 3
    count = study.natural_weight(outcomes, len(names))
    alarmed = [(o.weights.max(), o.weights.argmax() == o.truth, w) for o, w in zip(outcomes, count) if o.alarm]
    stated, right, share = np.array(alarmed, dtype=float).T
    assert np.average(stated, weights=share) == pytest.approx(np.average(right, weights=share), abs=0.08)


def test_the_study_uses_the_librarys_own_evidence():
    """The study's quick refill equals the evidence of a Balance built afresh."""
    for grade in study.GRADES:
        evidence, _ = study.template(grade)
        reported = np.array([-230.0, 101.0, 95.0, 14.0])
        own = study.balance(reported, grade)._evidence(with_yield=True)
        quick = study.refill(evidence, reported, grade)
        assert quick.x == pytest.approx(own.x)
        assert pytest.approx(own.V) == quick.V
        assert pytest.approx(own.R) == quick.R


def test_scale_does_not_change_the_probabilities():
    """A run ten times as large, with the same relative uncertainties, has the same explanations."""
    evidence, faults = study.template("kitchen")
    small = np.array([-100.0, 38.0, 44.7, 5.0])
    one, ten = (rank(study.refill(evidence, k * small, "kitchen"), faults) for k in (1, 10))
    assert ten.probabilities == pytest.approx(one.probabilities, abs=1e-9)
