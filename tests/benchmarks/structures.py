"""Three kinds of yeast that differ in structure from one another and from what the methods take for granted.

They differ in how they begin, take up sugar, suffer alcohol, run out of nitrogen and grow, and in what else they make:

* waking: the simulator's own yeast, drawn wide: cells wake one after another, Monod uptake, alcohol slows in
  proportion, uptake wanes once nitrogen is short; glycerol follows growth; acetic and succinic acid;
* memory: the adaptation of Baranyi and Roberts (1994), Contois uptake, alcohol slows by a power, upkeep takes sugar
  from growth; glycerol follows uptake as much as growth; acetic, lactic and succinic
  acid, fusel alcohol and butanediol;
* delayed: the yeast comes late and is at work at once, Monod uptake, alcohol slows by the square, growth ends with the
  last nitrogen and uptake falls to a share of what it was; acetic and lactic acid.

Constants are invented; no range is read from the library, and no method reads these.
"""

import math
from dataclasses import dataclass

from fermkit.teach.batches import Strain
from fermkit.teach.recipe import drawn_strain


@dataclass(frozen=True)
class Memory(Strain):
    """Adaptation by a memory that grows, Contois uptake, a power of the alcohol, upkeep."""

    fastest_per_h: float = 0.3
    power: float = 1.5
    contois_g_g: float = 1.0
    upkeep_g_g_h: float = 0.005
    glycerol_mol_mol: float = 0.06
    lactic_share: float = 0.005
    fusel_mol_mol: float = 0.001
    butanediol_mol_mol: float = 0.001

    def active(self, readiness, _time_h):
        return readiness / (1 + readiness)

    def readies(self, readiness, fed, _fastest):
        return self.fastest_per_h * min(readiness, 1e6)

    def saturated(self, hexose_g_L, cells_g_L):
        return hexose_g_L / (hexose_g_L + self.contois_g_g * cells_g_L + 1e-9)

    def slowed(self, ethanol_g_L):
        return max(0.0, 1 - ethanol_g_L / self.ethanol_most_g_L) ** self.power

    def grows(self, uptake_g, cells_g, fed):
        return max(self.growth_g_g * (uptake_g - self.upkeep_g_g_h * cells_g), 0.0) * fed

    def byproducts(self):
        acid, lactic = 6 * self.acid_share, 6 * self.lactic_share
        glycerol = 0.5 * self.glycerol_mmol_g / 1000 / (1 - self.ash)
        return {
            "glycerol": (self.glycerol_mol_mol, glycerol), "acetic acid": (acid / 4, 0.0),
            "succinic acid": (acid / 8, 0.0), "lactic acid": (lactic / 3, 0.0),
            "C5H12O": (self.fusel_mol_mol, 0.0), "C4H10O2": (self.butanediol_mol_mol, 0.0),
        }  # fmt: skip


@dataclass(frozen=True)
class Delayed(Strain):
    """Nothing until the yeast comes; growth ends with the last nitrogen."""

    late_h: float = 3.0
    resting: float = 0.4
    lactic_share: float = 0.005

    def active(self, readiness, time_h):
        return readiness / (1 + math.exp(min((self.late_h - time_h) / 0.1, 300.0)))

    def readies(self, readiness, fed, _fastest):
        return (self.resting - readiness) * (1 - fed)

    def fed(self, nitrogen_g_L):
        return nitrogen_g_L / (nitrogen_g_L + 0.0005)

    def slowed(self, ethanol_g_L):
        return max(0.0, 1 - (ethanol_g_L / self.ethanol_most_g_L) ** 2)

    def byproducts(self):
        lactic = 6 * self.lactic_share
        glycerol = self.glycerol_mmol_g / 1000 / (1 - self.ash)
        return {
            "glycerol": (0.0, glycerol), "acetic acid": (6 * self.acid_share / 2, 0.0),
            "succinic acid": (0.0, 0.0), "lactic acid": (lactic / 3, 0.0),
        }  # fmt: skip


def waking(rng):
    return drawn_strain(rng)


def _cells(rng):
    return {
        "cell_H": rng.uniform(1.60, 1.90), "cell_O": rng.uniform(0.46, 0.60), "cell_N": rng.uniform(0.11, 0.19),
        "ash": rng.uniform(0.04, 0.10),
    }  # fmt: skip


def memory(rng):
    return Memory(
        uptake_g_g_h=1.4 * math.exp(rng.normal(0, 0.2)), growth_g_g=rng.uniform(0.06, 0.13),
        awake=rng.uniform(0.02, 0.6), fastest_per_h=rng.uniform(0.2, 0.5), power=rng.uniform(0.6, 2.0),
        contois_g_g=rng.uniform(0.1, 1.0), upkeep_g_g_h=rng.uniform(0.0, 0.01),
        reserve_share=rng.uniform(0.0, 0.03), acid_share=rng.uniform(0.0, 0.015),
        lactic_share=rng.uniform(0.0, 0.015), glycerol_mmol_g=rng.uniform(4.0, 10.0),
        glycerol_mol_mol=rng.uniform(0.02, 0.10), fusel_mol_mol=rng.uniform(0.0, 0.002),
        butanediol_mol_mol=rng.uniform(0.0, 0.004), ethanol_most_g_L=rng.uniform(85.0, 120.0),
        oxygen_per_h=math.exp(rng.uniform(math.log(0.01), math.log(0.3))), **_cells(rng),
    )  # fmt: skip


def delayed(rng):
    return Delayed(
        uptake_g_g_h=1.1 * math.exp(rng.normal(0, 0.2)), growth_g_g=rng.uniform(0.05, 0.12), awake=1.0,
        late_h=rng.uniform(1.0, 8.0), resting=rng.uniform(0.2, 0.7), sugar_half_g_L=rng.uniform(0.3, 4.0),
        reserve_share=rng.uniform(0.0, 0.04), acid_share=rng.uniform(0.0, 0.02), lactic_share=rng.uniform(0.0, 0.015),
        glycerol_mmol_g=rng.uniform(3.5, 14.0), ethanol_most_g_L=rng.uniform(90.0, 120.0),
        oxygen_per_h=math.exp(rng.uniform(math.log(0.01), math.log(0.3))), **_cells(rng),
    )  # fmt: skip


GENERATORS = {"waking": waking, "memory": memory, "delayed": delayed}
