"""How much or how little of a stream there can be at all."""

import numpy as np
import pytest
from balance_runs import measured_glycerol
from scipy import stats
from uncertainties import ufloat

from fermkit.balance.account import Balance


def test_bounds_of_a_determined_stream_are_its_interval():
    """Where a stream is determined, least and most are 1.96 standard uncertainties away."""
    bal = measured_glycerol()
    biomass = bal.reconcile()["biomass"]
    found = bal.bounds("biomass")
    half = stats.norm.ppf(0.975) * biomass.s
    assert (found.low, found.high) == pytest.approx((biomass.n - half, biomass.n + half), rel=1e-5)


def test_bounds_of_an_open_stream_come_from_the_balances():
    """With only the sugar known, ethanol is at most 0.511 g per g of the most sugar, and may be nothing."""
    bal = Balance({"glucose": -ufloat(100, 1), "ethanol": None, "CO2": None, "biomass": None}, priors="none")
    found = bal.bounds("ethanol")
    assert found.low == pytest.approx(0, abs=1e-9)
    assert found.high == pytest.approx(0.5114345 * (100 + stats.norm.ppf(0.975)), rel=1e-5)


def test_bounds_cover_the_truth():
    """The true amount of a half-known stream lies within its bounds in at least 95 % of runs."""
    rng = np.random.default_rng(8)
    glucose, ethanol, biomass = 100.0, 45.0, 5.0
    carbon = glucose * 6 / 180.156
    rest = 4 * carbon - 12 * ethanol / 46.069 - 4.2 * biomass / 24.626
    glycerol = rest / 14 * 92.094
    inside = []
    for _ in range(30):
        fed = -ufloat(glucose * (1 + 0.01 * rng.normal()), 1)
        made = ufloat(ethanol * (1 + 0.02 * rng.normal()), 0.9)
        open_streams = {"CO2": None, "biomass": None, "glycerol": None}
        found = Balance({"glucose": fed, "ethanol": made} | open_streams, priors="none").bounds("glycerol")
        inside.append(found.low - 1e-9 <= glycerol <= found.high + 1e-9)
    assert np.mean(inside) >= 0.93
