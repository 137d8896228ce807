"""Runs for the tests of the balance: one that closes, one with five measured streams."""

from uncertainties import ufloat

from fermkit.balance.account import Balance

KITCHEN = (0.02, 0.05, 0.03, 0.08)
LABORATORY = (0.005, 0.02, 0.01, 0.04)
NARROW = {"glycerol": ufloat(6.25, 0.7), "acids": ufloat(0.015, 0.005)}
"""By-products with which `run` closes to the last digit."""


def run(sugar=100.0, ethanol=45.636, co2=44.7, yeast=5.0, u=LABORATORY, **options):
    """A run that closes, unless an amount is changed."""
    amounts = (-sugar, ethanol, co2, yeast)
    names = ("glucose", "ethanol", "CO2", "yeast")
    return Balance({n: ufloat(v, abs(v) * r) for n, v, r in zip(names, amounts, u)}, **options)


def measured_glycerol(**options):
    """Five measured streams, no assumption about by-products."""
    return Balance(
        {
            "glucose": -ufloat(100, 1),
            "ethanol": ufloat(46.4, 0.9),
            "CO2": ufloat(44.1, 0.5),
            "biomass": ufloat(4.6, 0.3),
            "glycerol": ufloat(3.6, 0.2),
        },
        priors="none",
        **options,
    )


def residual(balance, amounts, row):
    """What a balance row leaves over for the given amounts."""
    return sum(
        float(amounts[s.name].n) * s.content("ammonia").get(row, 0.0) for s in balance.listed if s.name in amounts
    )
