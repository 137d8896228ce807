"""Instrument checks and the corrections that follow from them.

A scale is checked against a known weight, a thermometer in melting ice, a gauge when it is open to the
air. The readings are corrected by what the check showed; how well the check itself is known stays common
to all readings of that instrument and does not average out.
"""

from collections.abc import Mapping
from typing import Any, Final

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import HALF_WIDTH
from fermkit.basis.quantities import Quantity, as_number
from fermkit.basis.written import nominal, plus_minus
from fermkit.run.findings import Remarks

EVERYTHING: Final = ("feed", "inoculum", "gas", "weights", "drying", "conditions", "hold")
FURTHEST: Final = 0.2
"""A check that is off by more than a fifth is taken for a slip of the pen."""


def corrections(written: Mapping[str, Mapping[str, Any]], book: Remarks) -> dict[str, dict[str, Any]]:
    """For each instrument: what it reads, its error per reading, and the correction.

    Parameters
    ----------
    written : mapping of mappings
        ``[instruments.<name>]`` under fermkit's names.
    book : Remarks

    Returns
    -------
    dict of dicts
        Further keys: ``factor`` (true weight over reading), ``offset_C``, ``offset_bar`` (added to a
        reading), ``u_reading_g``, ``u_reading_C``, ``u_reading_bar`` (resolution as half-width, ÷ √3).

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7 for the resolution. That a scale's error grows with the load, and that a
    thermometer's and a gauge's error is the same everywhere, is common practice, no source.
    """
    out = {}
    for name, check in written.items():
        its = {"reads": EVERYTHING, **check}
        for suffix in ("g", "C", "bar"):
            if f"resolution_{suffix}" in check:
                its[f"u_reading_{suffix}"] = nominal(check[f"resolution_{suffix}"]) * HALF_WIDTH
        its |= _scale(name, its, book) | _offset(name, its, "ice_reading_C", "offset_C", "°C", book)
        its |= _offset(name, its, "zero_reading_bar", "offset_bar", "bar", book)
        out[name] = its
    _once_each(out)
    return out


def _scale(name: str, its: Mapping[str, Any], book: Remarks) -> dict[str, Any]:
    if "check_weight_g" not in its or "check_reading_g" not in its:
        return {}
    weight, reading = (
        its["check_weight_g"],
        _with_resolution(its["check_reading_g"], its, "g", Act("check weight", "weighing the check weight")),
    )
    if not nominal(weight) > 0 or not abs(nominal(reading) / nominal(weight) - 1) < FURTHEST:
        raise InputError(
            f"{book.file}, instruments.{name}: a check weight of {nominal(weight):g} g reads {nominal(reading):g} g",
            f"a reading within {FURTHEST:.0%} of the weight", "check both entries",
        )  # fmt: skip
    factor = weight / reading
    book.note(f"weights were multiplied by {plus_minus(factor)}, from the check weight", column=f"instruments.{name}")
    return {"factor": factor}


def _offset(name: str, its: Mapping[str, Any], key: str, offset: str, unit: str, book: Remarks) -> dict[str, Any]:
    if key not in its:
        return {}
    reading = _with_resolution(its[key], its, offset.split("_")[1], Act(f"zero {name}", "checking the zero"))
    book.note(
        f"{plus_minus(-reading, unit)} was added to readings, from the check at zero", column=f"instruments.{name}"
    )
    return {offset: -reading}


def _with_resolution(reading: Any, its: Mapping[str, Any], suffix: str, act: Act) -> Any:
    """A check reading without its own ± is as good as the instrument's resolution."""
    u = its.get(f"u_reading_{suffix}", 0.0)
    return as_number(Quantity(reading, u), act) if isinstance(reading, float) else reading


def _once_each(instruments: Mapping[str, Mapping[str, Any]]) -> None:
    for key in ("factor", "offset_C", "offset_bar"):
        claimed: dict[str, str] = {}
        for name, its in instruments.items():
            for place in its["reads"] if key in its else ():
                if place in claimed:
                    raise InputError(
                        f"instruments {claimed[place]!r} and {name!r} both claim the readings of {place!r}",
                        "one instrument for each", f'write reads = ["{place}", …] under one of them only',
                    )  # fmt: skip
                claimed[place] = name


NO_FACTOR: Final = 1.0
NO_OFFSET: Final = 0.0


def correction(instruments: Mapping[str, Mapping[str, Any]], key: str, place: str) -> Any:
    """The factor or offset for the readings of one place; 1 or 0 where nothing was checked.

    Examples
    --------
    >>> correction({"scale": {"factor": 0.996, "reads": ("feed",)}}, "factor", "feed")
    0.996
    >>> correction({}, "offset_C", "hold")
    0.0
    """
    for its in instruments.values():
        if key in its and place in its["reads"]:
            return its[key]
    return NO_FACTOR if key == "factor" else NO_OFFSET


def corrected_settings(values: dict[str, Any], instruments: Mapping[str, Mapping[str, Any]]) -> None:
    """Apply the checks to weighed amounts and to temperatures in the settings, in place."""
    for place, parts in (("feed", values["feed"]), ("inoculum", (values["inoculum"],))):
        factor = correction(instruments, "factor", place)
        for part in parts:
            if "amount_g" in part:
                part["amount_g"] = _times(_weighed(part, instruments, place), factor)
    offset = correction(instruments, "offset_C", "conditions")
    if "temperature_C" in values["conditions"] and offset is not NO_OFFSET:
        values["conditions"]["temperature_C"] = values["conditions"]["temperature_C"] + offset
    for gas in values["gas"]:
        shift = correction(instruments, "offset_C", "gas")
        if "collector_temperature_C" in gas and shift is not NO_OFFSET:
            gas["collector_temperature_C"] = gas["collector_temperature_C"] + shift


def _times(amount: Any, factor: Any) -> Any:
    """The amount itself where no scale was checked, so that its tag stays with it."""
    return amount if factor is NO_FACTOR else amount * factor


def _weighed(part: Mapping[str, Any], instruments: Mapping[str, Mapping[str, Any]], place: str) -> Any:
    """An amount without its own ± is as good as the resolution of the scale that weighed it."""
    amount = part["amount_g"]
    for its in instruments.values():
        if "u_reading_g" in its and place in its["reads"] and isinstance(amount, float):
            thing = part.get("ingredient", place)
            return as_number(Quantity(amount, its["u_reading_g"]), Act(f"weighed {thing}", f"weighing the {thing}"))
    return amount


def corrected_table(name: str, frame: Any, instruments: Mapping[str, Mapping[str, Any]]) -> Any:
    """A table with the nominal corrections applied to its weights, temperatures and pressures."""
    place = "gas" if name not in EVERYTHING else name
    factor = nominal(correction(instruments, "factor", place))
    for column in ("weight_g", "tare_g", "wet_g", "dry_g"):
        if column in frame and factor != 1.0:
            frame[column] = frame[column] * factor
    for column, key in (("temperature_C", "offset_C"), ("pressure_bar", "offset_bar")):
        shift = nominal(correction(instruments, key, place))
        if column in frame and shift and name not in ("standards", "samples"):
            frame[column] = frame[column] + shift
    return frame
