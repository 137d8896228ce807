"""Theoretical yields against the printed ones."""

from fermkit.run.yields import THEORETICAL


def test_gay_lussac(published):
    """0.5114 g ethanol and 0.4886 g CO2 per g hexose."""
    published.check("ethanol per g hexose, theoretical", THEORETICAL["ethanol"], 0.5114, 5e-5, reference="YIELD-TH")
    published.check("CO2 per g hexose, theoretical", THEORETICAL["CO2"], 0.4886, 5e-5, reference="YIELD-TH")
