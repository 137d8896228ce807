"""Streams of a balance: what they are, their units, and what is refused."""


import numpy as np
import pytest
from balance_runs import measured_glycerol, run
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.streams import LinearMeasurement
from fermkit.basis.errors import BalanceError, InputError
from fermkit.matter.composition import compound


def test_streams_are_classified():
    """Measured streams are tested or not; unmeasured ones are found or not determined."""
    bal = Balance(
        {"glucose": -ufloat(100, 1), "ethanol": ufloat(45, 1), "CO2": None, "biomass": None, "acetic acid": None},
        priors="none",
    )
    assert bal.standing == {
        "glucose": "not tested",
        "ethanol": "not tested",
        "CO2": "not determined",
        "biomass": "not determined",
        "acetic acid": "not determined",
    }
    assert set(measured_glycerol().standing.values()) == {"tested"}
    assert "2 independent tests of the measurements." in str(measured_glycerol())
    assert "0 independent tests of the measurements." in str(bal)


def test_units_do_not_matter():
    """The same run in grams, moles and mixed units gives the same test and the same amounts."""
    grams = measured_glycerol()
    moles = Balance(
        {name: amount / compound(name).molar_mass for name, amount in grams.streams.items()}, unit="mol", priors="none"
    )
    mixed = Balance(
        {
            **grams.streams,
            "CO2": grams.streams["CO2"] / 44.009,
            "ethanol": grams.streams["ethanol"] / 46.069 * 2,
            "glycerol": grams.streams["glycerol"] / compound("glycerol").molar_mass * 1000,
        },
        unit={"CO2": "mol", "ethanol": "C-mol", "glycerol": "mmol"},
        priors="none",
    )
    milli = Balance({name: a * 1000 for name, a in moles.streams.items()}, unit="mmol", priors="none")
    kilo = Balance({name: a / 1000 for name, a in grams.streams.items()}, unit="kg", priors="none")
    for other in (moles, mixed, milli, kilo):
        assert other.reconcile().chi2 == pytest.approx(grams.reconcile().chi2, rel=1e-9)
    usual = run()
    in_kg = Balance({name: a / 1000 for name, a in usual.streams.items()}, unit="kg")
    assert in_kg.reconcile().chi2 == pytest.approx(usual.reconcile().chi2, rel=1e-6, abs=1e-9)
    assert in_kg.explain().chance == pytest.approx(usual.explain().chance, rel=1e-6)
    assert mixed.reconcile()["CO2"].n * 44.009 == pytest.approx(grams.reconcile()["CO2"].n, rel=1e-9)


def test_the_order_of_streams_does_not_matter():
    """Streams written in another order give the same correction."""
    one = measured_glycerol()
    turned = Balance(dict(reversed(one.streams.items())), priors="none")
    assert turned.reconcile()["ethanol"].n == pytest.approx(one.reconcile()["ethanol"].n, rel=1e-12)
    assert turned.reconcile().chi2 == pytest.approx(one.reconcile().chi2, rel=1e-12)


def test_ash_carries_no_carbon():
    """Yeast with 6.5 % ash holds as much carbon as 93.5 % of it without; its doubt widens the closure."""
    with_ash = run(priors="none").closure()["carbon"]
    without = run(yeast=5.0 * 0.935, ash=0.0, priors="none").closure()["carbon"]
    assert with_ash.n == pytest.approx(without.n, rel=1e-9)
    assert "6.5 % of it ash" in str(run())


@pytest.mark.parametrize(("nitrogen", "source"), [("ammonia", "NH3"), ("nitrogen gas", "N2"), ("nitrate", "HNO3")])
def test_the_nitrogen_source_brings_no_electrons(nitrogen, source):
    """That is how the reference of the electrons is defined, whichever source the yeast lives on."""
    bal = Balance({"glucose": -ufloat(1, 0.01), source: -ufloat(0.1, 0.01), "CO2": None}, unit="mol", nitrogen=nitrogen)
    electrons = {s.name: s.content(nitrogen)["electrons"] for s in bal.listed}
    assert electrons[source] == pytest.approx(0.0, abs=1e-12)
    assert electrons["glucose"] == pytest.approx(24.0)


def test_a_mixture_is_the_sum_of_its_parts():
    """Molasses with 33 % sucrose and 21 % hexose holds their carbon; the doubt about the shares counts."""
    rest = {"ethanol": ufloat(25, 0.5), "CO2": ufloat(24, 0.5), "yeast": ufloat(3, 0.2)}
    parts = {"sucrose": ufloat(0.33, 0.01), "hexose": 0.21}
    mixed = Balance({"molasses": -ufloat(100, 0.1), **rest}, of={"molasses": parts})
    single = Balance({"sucrose": -ufloat(33, 0.1), "hexose": -ufloat(21, 0.1), **rest})
    assert mixed.closure()["carbon"].n == pytest.approx(single.closure()["carbon"].n, rel=1e-9)
    carbon = {name: compound(name).carbon / compound(name).molar_mass for name in parts}
    whole = 0.33 * carbon["sucrose"] + 0.21 * carbon["hexose"]
    alone = Balance({"molasses": -ufloat(100, 0.1), **rest}, of={"molasses": parts}, priors="none").closure()["carbon"]
    assert alone.error_components()[parts["sucrose"]] / alone.n == pytest.approx(0.01 * carbon["sucrose"] / whole)


REST = {"ethanol": ufloat(46, 1), "CO2": ufloat(44, 1)}


@pytest.mark.parametrize(
    ("streams", "options", "error", "words"),
    [
        ({"glucose": -ufloat(100, 1), "C6H12O6x": ufloat(1, 0.1)}, {}, InputError, "character 8"),
        ({"glucose": -100.0, **REST}, {}, InputError, "uncertainty of glucose is 0"),
        ({"glucose": ufloat(-100, float("nan")), **REST}, {}, InputError, "uncertainty of glucose is nan"),
        ({"glucose": ufloat(float("inf"), 1), **REST}, {}, InputError, "amount of glucose is inf"),
        ({"glucose": ufloat(100, 1), **REST}, {}, BalanceError, "more carbon out than in"),
        ({"glucose": -ufloat(100, 1), "ethanol": -ufloat(46, 1)}, {}, BalanceError, "none comes out"),
        ({"hexose": ufloat(100, 1), "ethanol": -ufloat(46, 1)}, {}, BalanceError, "more sugar comes out"),
        ({"glucose": -ufloat(100, 1), "O2": ufloat(0.3, 0.1), **REST}, {}, BalanceError, "oxygen is made: 0.3 g"),
        ({"glucose": -ufloat(100, 1), **REST}, {"unit": "lb"}, InputError, "unit of glucose is 'lb'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"unit": {"CO": "mol"}}, InputError, "stream in unit= is 'CO'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"priors": "some"}, InputError, "priors is 'some'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"nitrogen": "urea"}, InputError, "nitrogen is 'urea'"),
        ({"glucose": -ufloat(100, 1), **REST}, {"ash": {"CO2": 6.5}}, InputError, "write 0.065 for 6.5 %"),
        ({"glucose": "-100 g", **REST}, {}, InputError, "amount of glucose is '-100 g'"),
        ({"glucose": None, "ethanol": None}, {}, InputError, "none of the amounts is measured"),
        ({"glucose": -ufloat(100, 1), "O2": -ufloat(1, 0.1)}, {"unit": "C-mol"}, InputError, "holds no carbon"),
        ({"glucose": -ufloat(100, 1), "SeO2": ufloat(1, 0.1)}, {}, InputError, "holds Se"),
        ({}, {}, InputError, "no streams"),
        (
            {"molasses": -ufloat(100, 1), **REST},
            {"of": {"molasses": {"sucrose": 33}}},
            InputError,
            "add up to 33",
        ),
        (
            {"glucose": -ufloat(100, 1), **REST},
            {"extra": [LinearMeasurement("loss", {"CO2": 1.0}, 44.0)]},
            InputError,
            "uncertainty of loss is 0",
        ),
    ],
)
def test_bad_input_is_refused_in_words(streams, options, error, words):
    """Each mistake of writing is met with its value, what is needed and what to do."""
    with pytest.raises(error, match=words) as caught:
        Balance(streams, **options)
    assert caught.value.needed and caught.value.do


def test_odd_sets_of_streams_are_answered_or_refused_in_words():
    """Random streams, signs, zeros and gaps: every question is answered in words, or refused by name."""
    rng = np.random.default_rng(12)
    names = ["glucose", "sucrose", "ethanol", "CO2", "yeast", "glycerol", "O2", "acetic acid", "ammonia", "water"]
    consumed = {"glucose", "sucrose", "O2", "ammonia"}
    answered = 0
    for _ in range(60):
        chosen = rng.choice(names, rng.integers(2, 7), replace=False)
        streams = {
            str(n): None
            if rng.random() < 0.2
            else ufloat(
                (-1 if n in consumed else 1) * rng.choice([0.0, 1.0, 45.0, 100.0]), rng.choice([0.01, 0.5, 3.0])
            )
            for n in chosen
        }
        for question in ("closure", "reconcile", "explain", "detection_limits", "measure_next"):
            try:
                page = str(getattr(Balance(streams, aerated=bool(rng.random() < 0.3)), question)())
            except (InputError, BalanceError) as refusal:
                assert refusal.do
            else:
                answered += 1
                assert "nan" not in page.lower()
    assert answered > 50


def test_everything_prints():
    """Each result is a page of text, HTML and a table, and a one-line repr."""
    bal = run(co2=35)
    for result in (bal, bal.closure(), bal.reconcile(), bal.explain(), bal.measure_next(),
                   bal.detection_limits()):  # fmt: skip
        assert "nan" not in str(result).lower().replace("nanogram", "")
        assert result._repr_html_().startswith("<section")
        assert len(result.table()) >= 1
        assert repr(result).startswith(f"<{type(result).__name__}: ") and "\n" not in repr(result)
