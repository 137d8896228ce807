"""Settling and washing: what each liquid that was poured off took along, and what the paste's liquid still holds.

What a feed leaves dissolved comes along in the liquid of the paste. How much is read off the last liquid that was
poured away, since the paste holds the same.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.checks import not_negative, positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, uncertainty

KCL_MOL_PER_L: Final = (0.0, 0.001, 0.005, 0.01, 0.02, 0.05, 0.1, 1.0)
KCL_S_CM2_PER_MOL: Final = (149.8, 146.9, 143.5, 141.2, 138.3, 133.3, 128.9, 111.9)
"""Molar conductivity of potassium chloride at 25 °C: CRC Handbook of Chemistry and Physics, equivalent conductivity of
electrolytes (from memory). The salts of molasses are mostly potassium's."""

UNLIKE_KCL: Final = 0.1
"""How far a ratio of conductivities may miss the ratio of solids, beyond what KCl shows [-]: judgement, no source."""

MIXED: Final = (0.85, 0.1)
"""Power to which a wash does what perfect mixing would, and its ± [-]: clumps keep their liquid (common practice, no
source). 1 is perfect, 0 is nothing."""

CONDUCTING: Final = Act("conductivity of the wash", "taking conductivity for solids")
MIXING: Final = Act("mixing of the wash", "how well each wash was mixed")


class Told(StrEnum):
    """How the solids in the paste's liquid are known."""

    MEASURED = "measured in the last liquid poured off"
    CONDUCTIVITY = "by the conductivity of the last liquid against the first"
    MIXING = "by the volumes alone, as if well stirred"
    BROTH = "as in the broth, since nothing was washed"


class Washed(StrEnum):
    """Whether washing did what it can."""

    NOT_WASHED = "The paste was not washed: its liquid is the broth."
    UNTOLD = "Nothing was measured in the last wash, so that mixing is taken, and a clump may hold more."
    AS_MIXED = "The last wash holds what mixing leaves."
    NOT_THROUGH = (
        "The last wash holds more than mixing leaves: clumps, or too little stirring. Stir the paste up, wash it once "
        "more and measure again."
    )


@dataclass(frozen=True)
class Poured:
    """One liquid that was poured off.

    Attributes
    ----------
    name : str
        What a person calls it: "supernatant", "wash 1".
    volume_L : value
    solids_g_L : value or None
        Dissolved in it, alcohol not counted.
    conductivity_mS_cm : value or None
    cells_g_L : value or None
        Dry yeast still floating in it.
    """

    name: str
    volume_L: Number
    solids_g_L: Number | None = None
    conductivity_mS_cm: Number | None = None
    cells_g_L: Number | None = None

    @property
    def yeast_g(self) -> Any:
        """Dry yeast that went with it [g], or None where nobody looked."""
        return None if self.cells_g_L is None else self.cells_g_L * self.volume_L


@dataclass(frozen=True, repr=False)
class Washing(Written):
    """What was poured off, and what stayed.

    Attributes
    ----------
    supernatant : Poured or None
    washes : tuple of Poured
    paste_liquid_L : value
        Liquid in the paste.
    broth_g_L, left_g_L, mixed_g_L : value
        Dissolved in the broth, in the paste's liquid at the end, and there if each wash had mixed perfectly.
    told : Told
        How `left_g_L` is known.
    """

    supernatant: Poured | None
    washes: tuple[Poured, ...]
    paste_liquid_L: Number
    broth_g_L: Number
    left_g_L: Number
    mixed_g_L: Number
    told: Told

    @property
    def carried_g(self) -> Any:
        """Dissolved solids in the liquid of the washed paste [g]."""
        return self.left_g_L * self.paste_liquid_L

    @property
    def carried_before_g(self) -> Any:
        """The same before any wash [g]."""
        return self.broth_g_L * self.paste_liquid_L

    @property
    def settled_away_g(self) -> Any:
        """Dry yeast poured off with the supernatant [g], or None where nobody looked."""
        return None if self.supernatant is None else self.supernatant.yeast_g

    @property
    def washed_away_g(self) -> Any:
        """Dry yeast poured off with the washes [g], or None where one of them was not looked at."""
        lost = [one.yeast_g for one in self.washes]
        return None if any(one is None for one in lost) else sum(lost, 0.0)

    @property
    def verdict(self) -> Washed:
        """Whether washing did what it can: told apart at two standard uncertainties."""
        if not self.washes:
            return Washed.NOT_WASHED
        if self.told is Told.MIXING:
            return Washed.UNTOLD
        more = self.left_g_L - self.mixed_g_L
        return Washed.NOT_THROUGH if nominal(more) > 2.0 * uncertainty(more) else Washed.AS_MIXED

    def page(self) -> Page:
        """The liquids, what they took, what stayed."""
        lines = []
        for one in (*((self.supernatant,) if self.supernatant else ()), *self.washes):
            lines.append(Line(f"{one.name}, poured off", one.volume_L, "L"))
            lines += [Line(f"{one.name}, solids", one.solids_g_L, "g/L")] if one.solids_g_L is not None else []
            lines += [Line(f"{one.name}, yeast lost", one.yeast_g, "g dry")] if one.yeast_g is not None else []
        lines += [
            Line("solids in the broth", self.broth_g_L, "g/L"),
            Line("solids in the paste's liquid", self.left_g_L, "g/L", self.told),
            Line("solids there if each wash had mixed perfectly", self.mixed_g_L, "g/L"),
            Line("liquid in the paste", self.paste_liquid_L, "L"),
            Line("feed solids carried in its liquid", self.carried_g, "g dry"),
        ]
        said = [str(self.verdict)]
        if self.settled_away_g is None or self.washed_away_g is None:
            said.append(
                "Yeast lost with what was poured off is not all known: let a measured glass of each settle or spin it, "
                "dry what settles, and write grams in a litre."
            )
        said.append("Mud and scale that settle with the yeast are in no liquid: a clear feed leaves little of them.")
        return Page("Settling and washing", lines, said)


def washing(
    broth_g_L: Number,
    paste_liquid_L: Number,
    supernatant: Poured | None = None,
    washes: Sequence[Poured] = (),
    *,
    water_mS_cm: Number = 0.0,
) -> Washing:
    """How much of the feed's solids stays in a paste, and how much yeast was poured away.

    Parameters
    ----------
    broth_g_L : float or ufloat
        Dissolved in the broth by the recipe [g/L]; a measured supernatant goes before it.
    paste_liquid_L : float or ufloat
        Liquid in the paste [L]: its wet less its dry weight.
    supernatant : Poured or None
        What was poured off first.
    washes : sequence of Poured
        What was poured off after each wash, in order.
    water_mS_cm : float or ufloat
        Conductivity of the plain wash water [mS/cm].

    Returns
    -------
    Washing

    Raises
    ------
    InputError
        For a volume or a liquid of nothing, or a last wash that conducts better than the broth.

    Notes
    -----
    The paste holds a volume w of liquid before and after a wash with V, so perfect mixing leaves c·w/(w + V). What
    is measured in the last wash goes before its conductivity, and that before the volumes. A ratio of conductivities
    is turned into one of solids by the curve of KCl, plain water taken off.

    Examples
    --------
    >>> found = washing(40.0, 0.06, washes=[Poured("wash 1", 0.54, solids_g_L=ufloat(4.5, 0.3))])
    >>> print(found.carried_g, found.mixed_g_L, found.verdict.name)
    0.270+/-0.018 4.0 AS_MIXED

    References
    ----------
    Mass balance; conductivity of KCl, CRC Handbook of Chemistry and Physics.
    """
    positive(nominal(paste_liquid_L), "liquid in the paste [L]")
    poured = [*((supernatant,) if supernatant is not None else ()), *washes]
    for one in poured:
        positive(nominal(one.volume_L), f"volume of the {one.name} [L]")
        for value, name in ((one.solids_g_L, "solids [g/L]"), (one.cells_g_L, "suspended yeast [g/L]")):
            not_negative(0.0 if value is None else nominal(value), f"{name} in the {one.name}")
    broth: Any = broth_g_L
    if supernatant is not None and supernatant.solids_g_L is not None:
        broth = supernatant.solids_g_L
    not_negative(nominal(broth), "dissolved solids of the broth [g/L]")
    kept: Any = 1.0
    for one in washes:
        kept = kept * paste_liquid_L / (paste_liquid_L + one.volume_L)
    mixed = broth * kept
    left, told = _left(broth, kept, supernatant, washes, water_mS_cm)
    return Washing(supernatant, tuple(washes), paste_liquid_L, broth, left, mixed, told)


def _left(
    broth: Any, kept: Any, supernatant: Poured | None, washes: Sequence[Poured], water_mS_cm: Number
) -> tuple[Any, Told]:
    """Solids in the paste's liquid at the end [g/L], and how they are known."""
    if not washes:
        return broth, Told.BROTH if supernatant is None or supernatant.solids_g_L is None else Told.MEASURED
    last = washes[-1]
    if last.solids_g_L is not None:
        return last.solids_g_L, Told.MEASURED
    first = None if supernatant is None else supernatant.conductivity_mS_cm
    if last.conductivity_mS_cm is not None and first is not None:
        salt, all_salt = (as_kcl(x) - as_kcl(water_mS_cm) for x in (last.conductivity_mS_cm, first))
        if not nominal(all_salt) > 0 or nominal(salt) > nominal(all_salt):
            raise InputError(
                f"the last wash conducts {nominal(last.conductivity_mS_cm):g} mS/cm, the supernatant "
                f"{nominal(first):g}, plain water {nominal(water_mS_cm):g}",
                "a supernatant that conducts best, and water least",
                "check the rows and the units (mS/cm or µS/cm)",
            )
        ratio = salt / all_salt if nominal(salt) > 0 else ufloat(0.0, uncertainty(salt / all_salt))
        return broth * ratio * ufloat(1.0, UNLIKE_KCL, tag=CONDUCTING), Told.CONDUCTIVITY
    return broth * kept ** ufloat(*MIXED, tag=MIXING), Told.MIXING


def as_kcl(mS_cm: Number) -> Any:
    """Potassium chloride that conducts as well at 25 °C [mol/L].

    Parameters
    ----------
    mS_cm : float or ufloat
        Conductivity [mS/cm], at 25 °C or as a meter compensates it.

    Examples
    --------
    >>> round(as_kcl(12.89), 4)
    0.1

    References
    ----------
    CRC Handbook of Chemistry and Physics.
    """
    curve = np.multiply(KCL_MOL_PER_L, KCL_S_CM2_PER_MOL)
    x = nominal(mS_cm)
    not_negative(x, "conductivity [mS/cm]")
    slope = float(np.interp(x * 1.01 + 1e-6, curve, KCL_MOL_PER_L) - np.interp(x, curve, KCL_MOL_PER_L))
    return float(np.interp(x, curve, KCL_MOL_PER_L)) + (mS_cm - x) * (slope / (x * 0.01 + 1e-6))
