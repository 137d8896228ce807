"""Dry matter and water by weighing: solids, moisture on both bases, constant weight.

Worked out on the caller's own numbers with ±, so that a weighing shared by two results stays
shared, up to the yield.
"""

import math
from dataclasses import dataclass
from typing import Any, Final

from numpy.typing import ArrayLike
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import between, not_negative, numbers, positive, rising, same_length
from fermkit.basis.errors import InputError
from fermkit.basis.written import Line, Number, Page, Written, nominal, percent, uncertainty

SHORT_STEP_H: Final = 0.5
"""Weighings closer together than this [h] agree too easily to end a drying: common practice, no source."""


@dataclass(frozen=True, repr=False)
class Solids(Written):
    """Dry matter and water of a sample that was weighed wet and dried; net weights in g."""

    wet_g: Number
    dry_g: Number

    @property
    def water_g(self) -> Any:
        """Water in the wet sample [g]."""
        return self.wet_g - self.dry_g

    @property
    def solids_fraction(self) -> Any:
        """Dry matter per wet weight [g/g]."""
        return self.dry_g / self.wet_g

    @property
    def moisture_wet_basis(self) -> Any:
        """Water per *wet* weight [g/g], never above 1."""
        return self.water_g / self.wet_g

    @property
    def moisture_dry_basis(self) -> Any:
        """Water per *dry* matter [g/g]; 3.0 is the same as 75 % on the wet basis."""
        return self.water_g / self.dry_g

    def weight_at(self, moisture_wet_basis: Number) -> Any:
        """What this sample weighs [g] when it holds a share of water on the wet basis [g/g]."""
        between(nominal(moisture_wet_basis), 0.0, 0.99, "moisture on the wet basis [g/g]")
        return self.dry_g / (1.0 - moisture_wet_basis)

    def page(self) -> Page:
        """Lines for the lab book."""
        return Page(
            "Solids by drying",
            (
                Line("wet, net", self.wet_g, "g"),
                Line("dry matter", self.dry_g, "g"),
                Line("water", self.water_g, "g"),
                Line("solids", self.solids_fraction * 100, "%", "of the wet weight"),
                Line("moisture, wet basis", self.moisture_wet_basis * 100, "%", "g water in 100 g wet"),
                Line("moisture, dry basis", self.moisture_dry_basis, "g/g", "g water per g dry matter"),
            ),
            (
                "Dry is what the oven or dryer leaves: what evaporates with the water (alcohol, acids) "
                "counts as water, and water that stays bound counts as dry.",
                *cautions_for("drying").sentences(),
            ),
        )


def solids(tare_g: Number, wet_gross_g: Number, dry_gross_g: Number, residual_moisture: Number = 0.0) -> Solids:
    """Solids and moisture from three weighings of one dish.

    Parameters
    ----------
    tare_g : float or ufloat
        The empty dish [g].
    wet_gross_g, dry_gross_g : float or ufloat
        The dish with the wet and with the dried sample [g].
    residual_moisture : float or ufloat
        Water that the dried sample still holds, wet basis [g/g]; 0 after an oven, not after a dehydrator.

    Returns
    -------
    Solids
        Wet basis and dry basis by name.

    Notes
    -----
    dry = (dry gross − tare)(1 − residual moisture); solids = dry/(wet gross − tare).

    Raises
    ------
    InputError
        If the tare is heavier than a gross weight, or the dry sample heavier than the wet one.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> paste = solids(ufloat(12.00, 0.01), ufloat(112.00, 0.01), ufloat(37.00, 0.01))
    >>> print(paste.moisture_wet_basis * 100, paste.moisture_dry_basis)
    75.000+/-0.013 3.0000+/-0.0020

    References
    ----------
    Definition; drying at 103 °C to constant weight as in ISO 6496:1999 (from memory).
    """
    tare, wet, dry = nominal(tare_g), nominal(wet_gross_g), nominal(dry_gross_g)
    not_negative(tare, "tare [g]")
    for gross, name in ((wet, "wet"), (dry, "dry")):
        if gross <= tare:
            raise InputError(
                f"a tare of {tare:g} g is not lighter than the {name} gross weight of {gross:g} g",
                "gross weights, dish included, above the tare",
                "check whether net and gross were mixed up, or the dishes",
            )
    if dry > wet:
        raise InputError(
            f"the dry sample ({dry:g} g gross) is heavier than the wet one ({wet:g} g gross)",
            "a sample that loses weight on drying",
            "check whether the two were exchanged, or the dishes",
        )
    between(nominal(residual_moisture), 0.0, 0.99, "residual moisture, wet basis [g/g]")
    return Solids(wet_gross_g - tare_g, (dry_gross_g - tare_g) * (1.0 - residual_moisture))


@dataclass(frozen=True, repr=False)
class ConstantWeight(Written):
    """Whether the last two weighings agree within the scale's error, and what that may hide."""

    last_g: Number
    loss_g: Number
    step_h: float | None
    agrees: bool
    dry_g: Number | None = None

    @property
    def moisture_wet_basis(self) -> Any:
        """Water still held, per wet weight [g/g]; None without a dry matter."""
        return None if self.dry_g is None else 1.0 - self.dry_g / self.last_g

    @property
    def still_wet(self) -> bool | None:
        """Whether water is left beyond error (one-sided, 95 %); None without a dry matter."""
        moisture = self.moisture_wet_basis
        return None if moisture is None else nominal(moisture) > 1.645 * uncertainty(moisture)

    def page(self) -> Page:
        """Lines for the lab book and the verdict."""
        lines = [Line("last weighing", self.last_g, "g"), Line("loss since the one before", self.loss_g, "g")]
        if self.step_h is not None:
            most = max(nominal(self.loss_g), 0.0) + 1.645 * uncertainty(self.loss_g)
            lines.append(Line("could still lose", most / self.step_h, "g/h", "upper end, 95 %"))
        if self.dry_g is not None:
            lines.append(Line("moisture, wet basis", self.moisture_wet_basis * 100, "%"))
        return Page("Constant weight", lines, (*self._verdict(), *cautions_for("drying").sentences()))

    def _verdict(self) -> list[str]:
        if nominal(self.loss_g) < -1.96 * uncertainty(self.loss_g):
            return ["It grew heavier beyond the scale's error: it takes up water, or the scale drifts."]
        if not self.agrees:
            return ["Still losing weight beyond the scale's error: go on drying."]
        said = ["The last two weighings agree within the scale's error."]
        if self.step_h is None or self.step_h < SHORT_STEP_H:
            said.append(f"Weigh again after at least {SHORT_STEP_H:g} h: close weighings agree too easily.")
        if self.still_wet is None:
            said.append("That is rest, not dryness: a syrup that stops losing weight still holds water.")
        elif self.still_wet:
            said.append(
                f"It has stopped losing weight but still holds water: {percent(self.moisture_wet_basis)} (wet basis)."
            )
        return said


def constant_weight(
    weighings_g: ArrayLike, scale_u_g: float, time_h: ArrayLike | None = None, dry_g: Number | None = None
) -> ConstantWeight:
    """Whether two weighings that agree within the scale's error end the drying.

    Parameters
    ----------
    weighings_g : array-like of shape (n,)
        Weights in the order of weighing [g], two or more; net ones where `dry_g` is given.
    scale_u_g : float
        Standard uncertainty of one reading: the scale's repeatability [g]. Its calibration, common to
        both, cancels.
    time_h : array-like of shape (n,), optional
        When they were weighed [h].
    dry_g : float, ufloat or None
        Dry matter in it, known from elsewhere [g].

    Returns
    -------
    ConstantWeight

    Notes
    -----
    Agreement: |w(n−1) − w(n)| ≤ 1.96 √2 u.

    Examples
    --------
    >>> constant_weight([31.9, 30.41, 30.40], scale_u_g=0.01, time_h=[0, 2, 4], dry_g=27.2).still_wet
    True

    References
    ----------
    Drying to constant weight: ISO 6496:1999 (from memory); the limit is the 95 % range of a difference
    (ISO 5725-6:1994, repeatability limit, from memory).
    """
    weights = numbers(weighings_g, "weight [g]", at_least=2)
    for value in weights:
        positive(float(value), "weight [g]")
    positive(scale_u_g, "uncertainty of the scale [g]", do="give the scale's repeatability, e.g. 0.1")
    step = None
    if time_h is not None:
        time = numbers(time_h, "time [h]", at_least=2)
        same_length(weighings_g=weights, time_h=time)
        rising(time, "time [h]")
        step = float(time[-1] - time[-2])
    before, last = (
        ufloat(float(w), scale_u_g, tag=Act("weighing while drying", "weighing while drying")) for w in weights[-2:]
    )
    if dry_g is not None and nominal(dry_g) > weights[-1] + 1.96 * math.hypot(scale_u_g, uncertainty(dry_g)):
        raise InputError(
            f"the dry matter ({nominal(dry_g):g} g) is heavier than the sample ({weights[-1]:g} g)",
            "net weights, and the dry matter of this very sample",
            "take the tare off, or check the dry matter",
        )
    loss = before - last
    return ConstantWeight(last, loss, step, abs(nominal(loss)) <= 1.96 * uncertainty(loss), dry_g)
