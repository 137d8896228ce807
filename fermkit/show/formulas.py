"""The formulas behind a report, each with its source, as the appendix lists them."""

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Formula:
    """What is worked out, how, and where that comes from."""

    what: str
    says: str
    source: str


FORMULAS: Final = (
    Formula(
        "The most alcohol and gas",
        "C6H12O6 → 2 C2H5OH + 2 CO2: 0.5114 g and 0.4886 g from a gram of hexose",
        "Gay-Lussac's equation; standard atomic weights, CIAAW 2021",
    ),
    Formula(
        "Sugar as hexose",
        "sucrose × 360.31/342.30 = 1.0526, since it takes up water when it splits",
        "C12H22O11 + H2O → 2 C6H12O6",
    ),
    Formula(
        "Gas caught",
        "n = (p − p of water vapour) V / (R T)",
        "gas law; vapour: Wagner & Pruss, J. Phys. Chem. Ref. Data 22 (1993) 783",
    ),
    Formula(
        "Gas by weight",
        "n = fall in weight, less water vapour and the air that was pushed out, over 44.009 g/mol",
        "conservation of mass",
    ),
    Formula(
        "CO2 in the liquid",
        "liquid × solubility(T) × partial pressure of CO2, bicarbonate added by the pH",
        "Henry's law; Weiss, Marine Chemistry 2 (1974) 203",
    ),
    Formula(
        "Alcohol by a sensor",
        "signal = a + b × content, read back with the ± of line, standards and sample",
        "ISO 8466-1:1990; Eurachem/CITAC CG 4, QUAM:2012, example A5",
    ),
    Formula("% vol to grams", "tables of density of water and ethanol at 20 °C", "OIML R 22:1975"),
    Formula(
        "Carbon and electrons",
        "Σ carbon in = Σ carbon out; the same with γ = 4 C + H − 2 O − 3 N for the electrons",
        "Roels, Energetics and Kinetics in Biotechnology, 1983",
    ),
    Formula(
        "Corrected amounts",
        "least squares under both balances; misfit against chi² with as many degrees of freedom "
        "as balances and repeats",
        "van der Heijden et al., Biotechnol. Bioeng. 43 (1994) 3",
    ),
    Formula(
        "The best estimate",
        "weighted least squares on what was read and what is usual, all correlations kept; "
        "intervals cut at what is possible",
        "Rodgers, Inverse Methods for Atmospheric Sounding, 2000",
    ),
    Formula(
        "±",
        "one standard uncertainty, carried on by the law of propagation with correlations",
        "JCGM 100:2008 (GUM) 5.2",
    ),
    Formula(
        "Lag and largest rate",
        "the steepest line through the gas; the lag is where it meets the start",
        "Zwietering et al., Appl. Environ. Microbiol. 56 (1990) 1875",
    ),
    Formula(
        "Pressure if closed",
        "CO2 shared between liquid and gas space at rest, air and vapour added; CO2 as a real gas",
        "Henry's law; real gas: Weiss, Marine Chemistry 2 (1974) 203",
    ),
)
"""In the order in which a run uses them."""
