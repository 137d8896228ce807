"""Constants of nature and of convention, each with its unit and source."""

from typing import Final

GAS_CONSTANT: Final = 8.31446261815324
"""Molar gas constant R [J/(mol K)]. Exact since 2019: CODATA 2018, SI Brochure 9th ed."""

STANDARD_ATMOSPHERE_BAR: Final = 1.01325
"""Standard atmosphere [bar]. Exact by definition: 10th CGPM (1954)."""

ZERO_CELSIUS_K: Final = 273.15
"""0 °C in kelvin [K]. Exact by definition: SI Brochure 9th ed., 2.3.1."""

L_BAR_GAS_CONSTANT: Final = GAS_CONSTANT / 100
"""R in [L bar/(mol K)], for amounts of gas in litres and bar (1 J = 0.01 L bar)."""

OXYGEN_IN_AIR: Final = 0.20946
"""Mole fraction of oxygen in dry air [mol/mol]: ISO 2533:1975."""
