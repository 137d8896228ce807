"""What a kitchen puts in and writes down, and the true batch drawn about it.

The statements stay as they stand in run.toml; the truth is drawn about them, so that (truth − statement)/u
is an ordinary normal number in each run.
"""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from fermkit.matter.composition import compound
from fermkit.matter.properties import (
    ethanol_density,
    ethanol_mass_fraction,
    ethanol_pct_vol_from_concentration,
    sucrose_density,
    water_density,
)
from fermkit.teach.batches import Batch, Strain, Truth

DAP_LEFT: Final = 1 - 2 * compound("ammonia").molar_mass / compound("diammonium phosphate").molar_mass
"""Share of the phosphate that stays in the liquid when the yeast has taken its ammonia."""

DAP_NITROGEN: Final = compound("diammonium phosphate").mass_fraction("N")


LAST_SAMPLE_H: Final = 0.25
"""The last sample is taken this long after the last gas reading [h]."""


@dataclass(frozen=True, slots=True)
class Kitchen:
    """What is stated in the run, and how good each act is (u: one standard uncertainty). Invented.

    Parameters
    ----------
    molasses_g, u_feed_g, sucrose, u_sucrose, … : float
        The statements, with the uncertainty they carry into the run folder.
    gas : "volume", "weight", "both" or "pressure"
        Routes by which the gas is followed.
    u_increment_mL, u_reading_mL, u_volume_factor : float
        Errors of the collector: of each step between readings, of each reading, common to the curve.
    """

    name: str = "simulated run"
    date: str = "2026-03-02"
    note: str = "Invented data: a simulated batch of baker's yeast on beet molasses."
    molasses_g: float = 240.0
    u_feed_g: float = 1.0
    sucrose: float = 0.49
    u_sucrose: float = 0.01
    invert: float = 0.010
    u_invert: float = 0.003
    water: float = 0.20
    u_water: float = 0.01
    ash: float = 0.10
    nitrogen: float = 0.016
    usable_nitrogen: tuple[float, float] = (0.001, 0.003)
    phosphate_g: float = 6.0
    yeast_g: float = 5.0
    u_yeast_g: float = 0.1
    dry_matter: float = 0.95
    u_dry_matter: float = 0.01
    total_L: float = 3.0
    u_total_L: float = 0.02
    liquid_L: float = 2.0
    u_liquid_L: float = 0.02
    temperature_C: float = 28.0
    u_temperature_C: float = 0.5
    barometer_bar: float = 1.008
    u_barometer_bar: float = 0.002
    pH: float = 4.8
    kind: str = "jar"
    material: str = "glass"
    closed: str = "airlock"
    rated_bar: float = 0.0
    vents_h: tuple[float, ...] = ()
    u_pressure_bar: float = 0.01
    log_every_h: float = 0.25
    hours: float = 48.0
    leak_share: float = 0.0
    leak_from_h: float = 0.0
    samples_h: tuple[float, ...] = (6.5, 12.5, 24.5)
    sample_mL: float = 10.0
    u_sample_mL: float = 0.2
    last_sample_mL: float = 30.0
    gas: str = "volume"
    gas_every_h: float = 1.0
    collector_C: float = 22.0
    u_collector_C: float = 0.5
    u_volume_factor: float = 0.01
    u_increment_mL: float = 6.0
    u_reading_mL: float = 3.0
    most_loss_to_water: float = 0.02
    weight_every_h: float = 4.0
    u_weight_g: float = 0.5
    jar_g: float = 1460.0
    standards: tuple[float, ...] = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
    blank_V: float = 0.052
    slope_V: float = 0.81
    u_signal_V: float = 0.005
    dilutions: tuple[int, ...] = (5, 10)
    replicates: int = 3
    u_pipetting: float = 0.01
    carried_solids: float = 0.04
    u_carried_solids: float = 0.01
    share_harvested: float = 1.0
    u_share_harvested: float = 0.01
    u_weighing_g: float = 0.02
    u_density_kg_m3: float = 0.5
    u_residual_g_L: float = 0.5


def draw_batch(kitchen: Kitchen, rng: np.random.Generator, strain: Strain | None = None, **changes: Any) -> Batch:
    """A true batch, drawn about what the kitchen states.

    Parameters
    ----------
    kitchen : Kitchen
    rng : numpy.random.Generator
    strain : Strain, optional
        The yeast; if not given, it is drawn, and so is what `drawn_ways` draws.
    **changes
        Any field of `Batch` to set outright.

    Returns
    -------
    Batch
    """
    k = kitchen

    def about(value: float, u: float) -> float:
        return max(0.0, float(rng.normal(value, u)))

    molasses, sucrose = about(k.molasses_g, k.u_feed_g), about(k.sucrose, k.u_sucrose)
    invert, water = about(k.invert, k.u_invert), about(k.water, k.u_water)
    withdrawals = tuple((t, about(k.sample_mL, k.u_sample_mL) / 1000) for t in k.samples_h)
    drawn: dict[str, Any] = {
        "sucrose_g": molasses * sucrose,
        "hexose_g": molasses * invert,
        "nitrogen_g": molasses * float(rng.uniform(*k.usable_nitrogen)) + k.phosphate_g * DAP_NITROGEN,
        "yeast_g": about(k.yeast_g, k.u_yeast_g) * about(k.dry_matter, k.u_dry_matter),
        "solids_g": molasses * (1 - sucrose - invert - water) + k.phosphate_g * DAP_LEFT,
        "total_L": about(k.total_L, k.u_total_L),
        "liquid_L": about(k.liquid_L, k.u_liquid_L),
        "temperature_C": about(k.temperature_C, k.u_temperature_C),
        "barometer_bar": about(k.barometer_bar, k.u_barometer_bar),
        "pH": about(k.pH, 0.1),
        "hours": k.hours,
        "carried_share": about(k.carried_solids, k.u_carried_solids),
        "leak_share": k.leak_share,
        "leak_from_h": k.leak_from_h,
        "withdrawals": withdrawals,
        "closed": k.closed in ("closed", "vented"),
        "vents_h": k.vents_h,
    }
    drawn |= {"strain": strain} if strain else {**drawn_ways(rng), "strain": drawn_strain(rng)}
    return Batch(**(drawn | changes))


def drawn_ways(rng: np.random.Generator) -> dict[str, float]:
    """How a liquid holds CO2 and lets go of it, and what opening and drying make of the paste (invented, wide)."""
    return {
        "salting": float(rng.uniform(0.90, 1.0)),
        "transfer_per_h": float(np.exp(rng.uniform(np.log(1.0), np.log(8.0)))),
        "extract_share": float(rng.uniform(0.33, 0.72)),
        "lost_share": float(rng.uniform(0.0, 0.05)),
    }


def drawn_strain(rng: np.random.Generator) -> Strain:
    """A yeast of its own: speed, by-products, cells and ash differ from packet to packet.

    The ranges are this generator's (invented, wider than what the methods take as usual): no method reads them, and
    they are read from no method.
    """
    return Strain(
        uptake_g_g_h=float(1.1 * np.exp(rng.normal(0, 0.2))),
        growth_g_g=float(rng.uniform(0.05, 0.13)),
        glycerol_mmol_g=float(rng.uniform(3.5, 14.5)),
        acid_share=float(rng.uniform(0.0, 0.033)),
        reserve_share=float(rng.uniform(0.0, 0.05)),
        awake=float(rng.uniform(0.05, 0.3)),
        waking_h=float(np.exp(rng.uniform(np.log(0.8), np.log(5.0)))),
        ethanol_most_g_L=float(rng.uniform(80.0, 110.0)),
        ash=float(rng.uniform(0.045, 0.095)),
        oxygen_per_h=float(np.exp(rng.uniform(np.log(0.01), np.log(0.2)))),
        cell_H=float(rng.uniform(1.65, 1.85)),
        cell_O=float(rng.uniform(0.45, 0.60)),
        cell_N=float(rng.uniform(0.12, 0.20)),
    )


def _pm(value: float, u: float, unit: str, digits: int) -> str:
    while 0 < u < 0.5 * 10.0**-digits:  # no ± is written as zero
        digits += 1
    return f"{value:.{digits}f} ± {u:.{digits}f} {unit}".strip()


def statements(truth: Truth, rng: np.random.Generator, k: Kitchen) -> dict[str, Any]:
    first, last = densities(truth)
    # what solutes do to a density adds up to 2 % of the change; a stream of its own leaves other draws as they are
    last = first + (last - first) * (1.0 + 0.02 * rng.spawn(1)[0].standard_normal())
    start, end = (density + rng.normal(0, k.u_density_kg_m3) for density in (first, last))
    left = max(0.0, float(truth.series["sugar_g"][-1] / truth.series["liquid_L"][-1] + rng.normal(0, k.u_residual_g_L)))
    gas = []
    if k.gas in ("volume", "both"):
        gas.append({
            "kind": "collected volume", "table": "gas",
            "collector_temperature": _pm(k.collector_C, k.u_collector_C, "°C", 1),
            "volume_factor": _pm(1.0, k.u_volume_factor, "", 3),
            "u_reading": f"{k.u_reading_mL:g} mL", "u_increment": f"{k.u_increment_mL:g} mL",
            "loss_to_water": f"0 to {k.most_loss_to_water * 100:g} %",
        })  # fmt: skip
    if k.gas in ("weight", "both"):
        gas.append(
            {
                "kind": "vessel weight",
                "table": "gas" if k.gas == "weight" else "jar_weight",
                "u_reading": f"{k.u_weight_g:g} g",
            }
        )
    if k.gas == "pressure":
        gas.append({"kind": "pressure", "table": "gas", "pressure": "gauge", "u_reading": f"{k.u_pressure_bar:g} bar"})
    feed = [{"ingredient": "beet molasses", "amount": _pm(k.molasses_g, k.u_feed_g, "g", 1)}]
    if k.phosphate_g:
        feed.append({"ingredient": "diammonium phosphate", "amount": f"{k.phosphate_g:.2f} ± 0.05 g"})
    harvested = _pm(k.share_harvested * 100, k.u_share_harvested * 100, "%", 1)
    return {
        "run": {"name": k.name, "date": k.date, "invented": True, "note": k.note},
        "vessel": {
            "total": _pm(k.total_L, k.u_total_L, "L", 2), "liquid": _pm(k.liquid_L, k.u_liquid_L, "L", 2),
            "kind": k.kind, "material": k.material, "closed": k.closed,
        } | ({"rated": f"{k.rated_bar:.1f} bar"} if k.rated_bar else {}),
        "conditions": {
            "temperature": _pm(k.temperature_C, k.u_temperature_C, "°C", 1),
            "barometer": _pm(k.barometer_bar * 1000, k.u_barometer_bar * 1000, "hPa", 0),
            "pH": f"{k.pH:.1f} ± 0.1", "aeration": "none",
        },
        "feed": feed,
        "ingredients": {"beet molasses": {
            "sucrose": _pm(k.sucrose * 100, k.u_sucrose * 100, "%", 1),
            "invert": _pm(k.invert * 100, k.u_invert * 100, "%", 1),
            "water": _pm(k.water * 100, k.u_water * 100, "%", 1),
            "ash": _pm(k.ash * 100, 1.0, "%", 1),
            "nitrogen": _pm(k.nitrogen * 100, 0.3, "%", 1),
            "usable_nitrogen": f"{k.usable_nitrogen[0] * 100:g} to {k.usable_nitrogen[1] * 100:g} %",
        }},
        "inoculum": {
            "ingredient": "active dry yeast", "amount": _pm(k.yeast_g, k.u_yeast_g, "g", 1),
            "dry_matter": _pm(k.dry_matter * 100, k.u_dry_matter * 100, "%", 0),
        },
        "gas": gas,
        "ethanol": {"curve": "line", "u_pipetting": f"{k.u_pipetting * 100:g} %"},
        "density": {
            "start": _pm(start, k.u_density_kg_m3, "kg/m3", 1), "end": _pm(end, k.u_density_kg_m3, "kg/m3", 1),
            "reference_temperature": "20 °C",
        },
        "residual_sugar": {"value": _pm(left, k.u_residual_g_L, "g/L", 1), "method": "test strip"},
        "harvest": {
            "carried_solids": _pm(k.carried_solids * 100, k.u_carried_solids * 100, "%", 1),
            "window": "45 to 55 °C", "nitrogen": "8.4 ± 0.2 %", "u_weighing": f"{k.u_weighing_g:g} g",
        } | ({"share_harvested": harvested} if k.u_share_harvested else {}),
    }  # fmt: skip


GLYCEROL_AS_SUCROSE: Final = 0.61
"""How much a gram of glycerol raises the density, against a gram of sucrose: 10 % by mass gives 1022.1 and
1038.1 kg/m3 at 20 °C (CRC Handbook, concentrative properties; from memory)."""

LACTIC_AS_SUCROSE: Final = 0.6
"""The same for lactic acid: 10 % by mass gives 1022 kg/m3 at 20 °C (CRC Handbook, from memory)."""


def densities(truth: Truth) -> tuple[float, float]:
    """Density of the clear liquid at 20 °C before and after [kg/m3].

    Dissolved solids count as sucrose of the same mass; ethanol lowers the density as in pure water; the
    two add up (a simplification, common practice, no source).
    """
    batch, water = truth.batch, float(water_density(20.0))
    cooled = float(water_density(batch.temperature_C)) / water
    first = _density_of(batch.sucrose_g + batch.hexose_g + batch.solids_g, batch.liquid_L * cooled)
    acids = truth.amounts["succinic acid"] + LACTIC_AS_SUCROSE * truth.amounts.get("lactic acid", 0.0)
    made = GLYCEROL_AS_SUCROSE * truth.amounts["glycerol"] + acids
    left = float(truth.series["sugar_g"][-1]) + batch.solids_g + made
    liquid_g = first * batch.liquid_L * cooled - truth.amounts["CO2 made"] - truth.amounts["yeast grown"]
    concentration = float(truth.series["ethanol_g"][-1] / truth.series["liquid_L"][-1]) / cooled
    mass_fraction = float(ethanol_mass_fraction(ethanol_pct_vol_from_concentration(concentration)))
    lighter = water - float(ethanol_density(mass_fraction, 20.0))
    return first, float(sucrose_density(left / liquid_g, 20.0)) - lighter


def _density_of(dissolved_g: float, liquid_L: float) -> float:
    """Density of so many grams of solids in so many litres at 20 °C [kg/m3]."""
    density = 1000.0
    for _ in range(12):  # each step brings it some thirty times nearer
        density = float(sucrose_density(dissolved_g / (liquid_L * density), 20.0))
    return density
