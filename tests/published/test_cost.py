"""The least energy of drying, held to the steam equations."""

from iapws import IAPWS97

from fermkit.harvest.cost import EVAPORATION_KWH


def test_heat_of_evaporation(published):
    """A kilogram of water at 50 °C, by the industrial formulation of steam."""
    heat = IAPWS97(T=323.15, x=1).h - IAPWS97(T=323.15, x=0).h
    published.check("evaporation [kWh/kg]", EVAPORATION_KWH, heat / 3600, 0.005,
                    source="IAPWS-IF97, by the iapws library", verification="computed")  # fmt: skip
