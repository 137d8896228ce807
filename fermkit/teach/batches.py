"""A batch and what truly happened in it: the yeast, what went into the vessel, and every true amount."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from fermkit.basis.checks import Floats
from fermkit.basis.written import Line, Page, Written
from fermkit.matter.composition import compound


@dataclass(frozen=True, slots=True)
class Strain:
    """How the yeast behaves. Defaults: a baker's yeast in a kitchen (invented within common practice).

    Parameters
    ----------
    uptake_g_g_h : float
        Most hexose taken up per gram of awake dry yeast and hour.
    growth_g_g : float
        Cells made per gram hexose while nitrogen lasts; anaerobic yeast gives about 0.1
        (Verduyn et al., J. Gen. Microbiol. 136 (1990) 395).
    glycerol_mmol_g : float
        Glycerol made per gram of cells grown; 5 to 7.5 published (trade literature; Verduyn 1990, from memory).
    acid_share : float
        Share of the hexose's carbon that ends as acetic and succinic acid (common practice: 1–2 %).
    reserve_share : float
        Share of the hexose stored as glycogen once nitrogen is short.
    awake, waking_h : float
        Share of cells awake at time 0, and the time constant of waking.
    weary_per_h : float
        How fast sugar uptake is lost when nitrogen is short.
    oxygen_per_h : float
        Share of the headspace's oxygen that reaches the yeast in an hour; it burns sugar.
    cell_H, cell_O, cell_N : float
        Hydrogen, oxygen and nitrogen for each carbon of the cells.
    """

    uptake_g_g_h: float = 1.1
    growth_g_g: float = 0.105
    glycerol_mmol_g: float = 6.0
    acid_share: float = 0.015
    reserve_share: float = 0.02
    awake: float = 0.15
    waking_h: float = 2.0
    weary_per_h: float = 0.05
    sugar_half_g_L: float = 1.2
    nitrogen_half_g_L: float = 0.02
    ethanol_most_g_L: float = 95.0
    inversion_g_g_h: float = 6.0
    ash: float = 0.07
    oxygen_per_h: float = 0.05
    cell_H: float = 1.8
    cell_O: float = 0.5
    cell_N: float = 0.2

    @property
    def cell_g_mol(self) -> float:
        """Mass of cells for each mole of their carbon, without ash (atomic masses: IUPAC)."""
        return 12.011 + 1.008 * self.cell_H + 15.999 * self.cell_O + 14.007 * self.cell_N

    @property
    def cell_electrons(self) -> float:
        """Available electrons for each carbon, against ammonia."""
        return 4.0 + self.cell_H - 2.0 * self.cell_O - 3.0 * self.cell_N

    @property
    def cell_nitrogen(self) -> float:
        """Nitrogen in a gram of cells."""
        return 14.007 * self.cell_N / self.cell_g_mol

    def active(self, readiness: float, _time_h: float) -> float:
        """Share of the cells at work."""
        return readiness

    def readies(self, readiness: float, fed: float, _fastest: float) -> float:
        """Change of the readiness in an hour: waking of first order, and wearying where nitrogen is short."""
        return (1 - readiness) / self.waking_h * fed - self.weary_per_h * (1 - fed) * readiness

    def fed(self, nitrogen_g_L: float) -> float:
        """Growth, as a share of what it is with nitrogen in plenty."""
        return nitrogen_g_L / (nitrogen_g_L + self.nitrogen_half_g_L)

    def saturated(self, hexose_g_L: float, _cells_g_L: float) -> float:
        """Uptake, as a share of the most: Monod's law."""
        return hexose_g_L / (hexose_g_L + self.sugar_half_g_L)

    def slowed(self, ethanol_g_L: float) -> float:
        """What alcohol leaves of the uptake: falling in proportion."""
        return max(0.0, 1 - ethanol_g_L / self.ethanol_most_g_L)

    def grows(self, uptake_g: float, _cells_g: float, fed: float) -> float:
        """Cells made in an hour [g], from the hexose taken up [g/h]."""
        return self.growth_g_g * uptake_g * fed

    def byproducts(self) -> dict[str, tuple[float, float]]:
        """Moles of each for a mole of hexose taken up, and for a gram of cells grown."""
        acid = 6 * self.acid_share
        glycerol = self.glycerol_mmol_g / 1000 / (1 - self.ash)
        return {"glycerol": (0.0, glycerol), "acetic acid": (acid / 4, 0.0), "succinic acid": (acid / 8, 0.0)}


@dataclass(frozen=True, slots=True)
class Batch:
    """What goes into the vessel, and how it stands; masses in g, true values.

    Parameters
    ----------
    sucrose_g, hexose_g : float
        Sugars fed.
    nitrogen_g : float
        Nitrogen that the yeast can use.
    yeast_g : float
        Dry inoculum.
    solids_g : float
        Everything else dry in the feed: ash and unfermentables.
    closed : bool
        True: no gas leaves except at `vents_h`. False: an airlock.
    leak_share : float
        Share of the leaving gas that gets past the collector.
    withdrawals : sequence of (time_h, volume_L)
    salting : float
        Solubility of CO2 in the liquid, relative to water (a few per cent less: common practice, no source).
    keeps : float
        CO2 that the liquid keeps, over what it holds in balance: not stirred, it lets go of no less.
    swelling_L_mol : float
        What a mole of dissolved CO2 adds to the liquid: 0.032 to 0.038 (Garcia, LBNL-49023 (2001), and older ones).
    carried_share : float
        Share of the solids that ends up in the washed paste.
    harvested_share : float
        Share of the liquid, with the yeast in it, that came to the harvest.
    extract_share, lost_share : float
        Share of the opened paste's dry matter that dissolves, and that is lost on the way to the dishes.
    transfer_per_h : float
        Liquid-to-headspace transfer coefficient of CO2; sets the supersaturation.
    """

    sucrose_g: float = 117.6
    hexose_g: float = 2.4
    nitrogen_g: float = 1.6
    yeast_g: float = 4.75
    solids_g: float = 72.0
    total_L: float = 3.0
    liquid_L: float = 2.0
    temperature_C: float = 28.0
    barometer_bar: float = 1.008
    pH: float = 4.8
    hours: float = 48.0
    closed: bool = False
    vents_h: tuple[float, ...] = ()
    leak_share: float = 0.0
    leak_from_h: float = 0.0
    evaporation_mL_h: float = 0.0
    withdrawals: tuple[tuple[float, float], ...] = ()
    transfer_per_h: float = 3.0
    salting: float = 0.96
    keeps: float = 1.0
    swelling_L_mol: float = 0.0
    carried_share: float = 0.04
    harvested_share: float = 1.0
    extract_share: float = 0.54
    lost_share: float = 0.03
    strain: Strain = field(default_factory=Strain)


@dataclass(frozen=True, repr=False)
class Truth(Written):
    """What truly happened in a simulated batch.

    Attributes
    ----------
    batch : Batch
    time_h : numpy.ndarray of shape (n,)
    series : mapping of arrays of shape (n,)
        Through time: ``sugar_g`` (hexose equivalents in the liquid), ``ethanol_g`` and ``yeast_g`` in the
        liquid, ``liquid_L``, ``co2_produced_mol``, ``co2_dissolved_mol``, ``co2_headspace_mol``,
        ``gas_out_mol`` (all dry gas that left), ``co2_out_mol``, ``collected_mol`` (dry gas that reached
        the collector), ``lost_g`` (mass that left the vessel as gas), ``pressure_bar`` (absolute).
    amounts : mapping
        Totals [g] since the start: ``hexose consumed``, ``ethanol made``, ``CO2 made``, ``yeast grown``,
        ``glycerol``, ``acetic acid``, ``succinic acid``, ``ethanol in the gas``, ``residual sugar``, …
    """

    batch: Batch
    time_h: Floats
    series: Mapping[str, Floats]
    amounts: Mapping[str, float]

    def at(self, name: str, time_h: Any) -> Any:
        """A series read at other times, by straight lines between the grid's points."""
        return np.interp(time_h, self.time_h, self.series[name])

    def closure(self) -> tuple[float, float]:
        """Share of the consumed hexose's carbon and electrons found in the products."""
        return _closure(self.amounts, self.batch.strain)

    def page(self) -> Page:
        """The true amounts."""
        lines = [Line(name, value, "g") for name, value in self.amounts.items()]
        return Page(f"Simulated batch, {self.time_h[-1]:g} h", lines, ["Invented: a model with known truth."])


def _closure(amounts: Mapping[str, float], strain: Strain) -> tuple[float, float]:
    parts = {
        "ethanol made": compound("ethanol"), "CO2 made": compound("CO2"), "reserve stored": compound("C6H10O5"),
    } | {name: compound(name) for name in strain.byproducts()}  # fmt: skip
    hexose = amounts["hexose consumed"] / compound("hexose").molar_mass
    moles = {name: amounts[name] / thing.molar_mass for name, thing in parts.items()}
    cells = amounts["cells grown"] / strain.cell_g_mol
    carbon = math.fsum((cells, *(moles[name] * thing.carbon for name, thing in parts.items())))
    of_cells = cells * strain.cell_electrons
    electrons = math.fsum((of_cells, *(moles[name] * thing.electrons for name, thing in parts.items())))
    burnt = 4 * amounts["oxygen used"] / compound("O2").molar_mass
    return carbon / (6 * hexose), (electrons + burnt) / (24 * hexose)
