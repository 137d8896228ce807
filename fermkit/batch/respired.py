"""A batch with air: how much of its sugar was respired and how much fermented, and what that says of the feeding."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

import numpy as np

from fermkit.basis.checks import positive
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Page, Written, nominal, uncertainty
from fermkit.batch.estimate import Estimate
from fermkit.batch.feeding import YEAST_PER_SUGAR, Feeding, feeding
from fermkit.batch.known import LATENTS
from fermkit.batch.readings import ETHANOL_G, HEXOSE_G
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass

OXYGEN_G: Final = molar_mass("O2")
HARDLY_ANY: Final = 0.10
"""Below this share of the sugar's electrons in alcohol the yeast respired nearly all that it was fed (common practice,
no source); where all is fermented it is above 0.9."""

ELECTRONS_PER_G: Final = (1.0 - usual.ASH.middle) / usual.YEAST_PER_CARBON.middle * usual.YEAST_ELECTRONS.middle
"""Electrons in a gram of dry yeast [mol/g], known to about 3 %."""

OXYGEN_PER_HEXOSE: Final = (24.0 - YEAST_PER_SUGAR * HEXOSE_G * ELECTRONS_PER_G) / 4.0
"""Oxygen for each hexose that is respired while half its weight becomes yeast [mol/mol]: by electrons."""


class Fed(StrEnum):
    """What the alcohol says of the feeding."""

    RESPIRED = "Hardly any alcohol: the yeast respired nearly all that it was fed."
    TOO_MUCH = "Alcohol was made: more sugar was there at once than the yeast, or the air, could respire."
    OPEN = "Whether the sugar was respired or fermented cannot be told from these readings: measure the alcohol."


@dataclass(frozen=True, repr=False)
class Respired(Written):
    """Where the electrons of the sugar went, in a batch with air.

    Attributes
    ----------
    to_oxygen, to_alcohol, to_yeast : value
        Shares of the electrons of the sugar used [-].
    quotient : value or None
        CO2 made over oxygen used [mol/mol]; None where hardly any oxygen is told.
    carried_out : value
        Share of the alcohol that the air carried out [-].
    fed : Fed
    ceiling_g_per_h : value or None
        Sugar that this air respired in an hour [g hexose/h]; None where no hours are told.
    next_time : Feeding or None
        The same sugar fed so that it would be respired, where it was not.
    """

    to_oxygen: Any
    to_alcohol: Any
    to_yeast: Any
    quotient: Any
    carried_out: Any
    fed: Fed
    ceiling_g_per_h: Any = None
    next_time: Feeding | None = None

    def page(self) -> Page:
        """Shares, the quotient, what the air brought, and how to feed next time."""
        lines = [
            Line("electrons of the sugar to oxygen", 100 * self.to_oxygen, "%", "respired"),
            Line("to alcohol", 100 * self.to_alcohol, "%", "fermented"),
            Line("into new yeast", 100 * self.to_yeast, "%"),
            Line("alcohol that the air carried out", 100 * self.carried_out, "%", "of the alcohol, counted"),
        ]
        if self.quotient is not None:
            lines.append(Line("CO2 made for each O2 used", self.quotient, "mol/mol", "about 1 where all is respired"))
        if self.ceiling_g_per_h is not None:
            lines.append(Line("sugar that this air respired", self.ceiling_g_per_h, "g/h", "on average"))
        said = [
            str(self.fed),
            "Gas alone tells nothing here: a sugar gives two CO2 where it is fermented, and two to six where it is "
            "respired. Only beside the oxygen used does it say which.",
        ]
        parts = [] if self.next_time is None else [self.next_time.page()]
        return Page("Respired or fermented?", lines, said, parts)


def respired(found: Estimate, hours: float | None = None) -> Respired:
    """How much was respired and how much fermented, from the estimate of a batch with air.

    Parameters
    ----------
    found : Estimate
        Of a recipe with an air pump.
    hours : float, optional
        How long air was given [h].

    Returns
    -------
    Respired

    Notes
    -----
    A hexose brings 24 electrons; ethanol keeps 12, an oxygen takes 4, yeast keeps those of its formula. The oxygen is
    what the balances leave for it.

    Raises
    ------
    InputError
        For a batch without an air pump.

    References
    ----------
    Roels 1983 (electrons); van Dijken, Weusthuis & Pronk 1993, Antonie van Leeuwenhoek 63, 343 (Crabtree effect).
    """
    if not found.recipe.air_pump:
        raise InputError(
            f"a batch that is {found.recipe.closed!r} and has no air pump", "a batch with an air pump",
            'write aeration = "air pump" under [conditions]',
        )  # fmt: skip
    sugar = found.amount("sugar_used") / HEXOSE_G * 24.0
    oxygen, alcohol = found.amount("oxygen"), found.amount("ethanol")
    share = alcohol / ETHANOL_G * 12.0 / sugar
    low, high = (nominal(share) + side * 1.96 * uncertainty(share) for side in (-1.0, 1.0))
    fed = Fed.RESPIRED if high < 2 * HARDLY_ANY and nominal(share) < HARDLY_ANY else (
        Fed.TOO_MUCH if low > HARDLY_ANY else Fed.OPEN
    )  # fmt: skip
    used = oxygen / OXYGEN_G
    told = nominal(used) > 2 * uncertainty(used)
    ceiling = None
    if hours is not None:
        positive(hours, "hours of air [h]")
        ceiling = used / OXYGEN_PER_HEXOSE * HEXOSE_G / hours
    again = None
    told_yeast = nominal(found.recipe.feed.inoculum_g) > 0
    if fed is Fed.TOO_MUCH and ceiling is not None and told_yeast and told:
        again = feeding(found.recipe.feed.hexose_g, found.recipe.feed.inoculum_g, ceiling)
    return Respired(
        oxygen * 4.0 / OXYGEN_G / sugar, share, found.amount("yeast") * ELECTRONS_PER_G / sugar,
        found.amount("co2") / 44.009 / used if told else None, _carried_out(found), fed, ceiling, again,
    )  # fmt: skip


def _carried_out(found: Estimate) -> Any:
    from uncertainties import ufloat

    at = LATENTS.index("stripped_share")
    value = float(np.clip(found.settled.at[0][at], 0.0, 1.0))
    return ufloat(value, float(np.sqrt(found.settled.P[0][at, at])))
