"""The simulated batch held to published stoichiometry, and units to published factors."""

import pytest

from fermkit.basis.quantities import conversion, read_quantity
from fermkit.teach.fermentation import Batch, Strain, ferment


def test_theoretical_yields(published):
    """Without growth and by-products: the theoretical yields of ethanol and CO2."""
    bare = Strain(growth_g_g=0.0, acid_share=0.0, reserve_share=0.0, oxygen_per_h=0.0)
    amounts = ferment(Batch(strain=bare)).amounts
    expected = published.entries["YIELD-TH"]["expected"]
    used = amounts["hexose consumed"]
    for name, key in (("ethanol made", "EtOH_per_glucose"), ("CO2 made", "CO2_per_glucose")):
        published.check(f"simulation: {name}", amounts[name] / used, expected[key], 2e-6, reference="YIELD-TH")


def test_glycerol_with_growth(published):
    """Glycerol formed with anaerobic growth lies in the published range of 5 to 7.5 mmol per g dry yeast."""
    amounts = ferment(Batch()).amounts
    grown = amounts["cells grown"] / 0.93
    published.check(
        "simulation: glycerol per dry yeast [mmol/g]", amounts["glycerol"] / 92.094 * 1000 / grown, 6.25, 1.25,
        source="Verduyn et al., J. Gen. Microbiol. 136 (1990) 395-403", verification="memory",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("unit", "to", "factor"),
    [
        ("psi", "bar", 0.06894757),
        ("mmHg", "bar", 0.001333224),
        ("atm", "bar", 1.01325),
        ("oz", "g", 28.34952),
        ("lb", "g", 453.5924),
        ("gallon", "L", 3.785412),
        ("fl oz", "mL", 29.57353),
    ],
)
def test_unit_factors(published, unit, to, factor):
    """Factors as NIST SP 811, Appendix B.8, prints them."""
    published.check(
        f"unit: {unit} in {to}", conversion(unit, to)[0], factor, factor * 2e-7,
        source="NIST SP 811 (2008), Appendix B.8", verification="memory",
    )  # fmt: skip


def test_temperature_scales(published):
    """Fahrenheit's fixed points: 32 °F is 0 °C, 212 °F is 100 °C."""
    for fahrenheit, celsius in ((32, 0), (212, 100)):
        found = read_quantity(f"{fahrenheit} °F", "°C", "temperature").value
        published.check(
            f"unit: {fahrenheit} °F", found, celsius, 1e-9, source="NIST SP 811 (2008), B.8", verification="memory"
        )


def test_rectangular_tolerance(published):
    """A half-width a of a rectangular distribution is a standard uncertainty of a/√3 (0.58 a in the guide)."""
    found = read_quantity("100 mL, tolerance 0.1 mL", "mL", "flask").u
    published.check(
        "uncertainty of a rectangular tolerance, per half-width", found / 0.1, 0.577, 5e-4,
        source="JCGM 100:2008 (GUM), 4.3.7 and Note to 4.3.9", verification="memory",
    )  # fmt: skip
