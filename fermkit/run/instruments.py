"""Instrument checks and the corrections that follow from them.

A scale is checked against a known weight, a thermometer in melting ice, a gauge when it is open to the
air. The readings are corrected by what the check showed; how well the check itself is known stays common
to all readings of that instrument and does not average out.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from fermkit.basis.errors import InputError
from fermkit.basis.written import Frame, Number, nominal, plus_minus
from fermkit.run.findings import Remarks
from fermkit.run.sections_batch import READS, Instrument

FURTHEST: Final = 0.2
"""A check that is off by more than a fifth is taken for a slip of the pen."""

NONE: Final = {"factor": 1.0, "offset_C": 0.0, "offset_bar": 0.0}
"""The correction where nothing was checked."""

Instruments = Mapping[str, Instrument]


def corrections(written: Instruments, book: Remarks) -> dict[str, Instrument]:
    """Each instrument with what its check says.

    Parameters
    ----------
    written : mapping of Instrument
        ``[instruments.<name>]``.
    book : Remarks

    Returns
    -------
    dict of Instrument
        With ``factor`` (true weight over reading), ``offset_C`` and ``offset_bar`` (added to a reading).

    References
    ----------
    That a scale's error grows with the load, and that a thermometer's and a gauge's error is the same everywhere,
    is common practice, no source.
    """
    out = {}
    for name, its in written.items():
        at = f"instruments.{name}"
        its = replace(its, reads=its.reads or READS)
        if its.check_weight_g is not None and its.check_reading_g is not None:
            weight, reading = nominal(its.check_weight_g), nominal(its.check_reading_g)
            if not weight > 0 or not abs(reading / weight - 1) < FURTHEST:
                raise book.refusal(
                    f"a check weight of {weight:g} g reads {reading:g} g", f"a reading within {FURTHEST:.0%} of it",
                    "check both entries", column=at,
                )  # fmt: skip
            its = replace(its, factor=its.check_weight_g / its.check_reading_g)
            book.note(f"weights were multiplied by {plus_minus(its.factor)}, from the check weight", column=at)
        for shift, unit in ((its.ice_reading_C, "°C"), (its.zero_reading_bar, "bar")):
            if shift is not None:
                said = plus_minus(-shift, unit)
                book.note(f"{said} was added to readings, from the check at zero", column=at)
        ice, zero = its.ice_reading_C, its.zero_reading_bar
        its = replace(its, offset_C=None if ice is None else -ice, offset_bar=None if zero is None else -zero)
        out[name] = its
    _once_each(out)
    return out


def _once_each(instruments: Instruments) -> None:
    for key in NONE:
        claimed: dict[str, str] = {}
        for name, its in instruments.items():
            for place in (its.reads or ()) if getattr(its, key) is not None else ():
                if place in claimed:
                    raise InputError(
                        f"instruments {claimed[place]!r} and {name!r} both claim the readings of {place!r}",
                        "one instrument for each", f'write reads = ["{place}", …] under one of them only',
                    )  # fmt: skip
                claimed[place] = name


def of_place(instruments: Instruments, key: str, place: str) -> Number | None:
    """What the instrument that reads a place says: its correction, or its ± of a reading; None where none does.

    Examples
    --------
    >>> of_place({"scale": Instrument(factor=0.996, reads=("feed",))}, "factor", "feed")
    0.996
    """
    for its in instruments.values():
        found: Number | None = getattr(its, key)
        if found is not None and place in (its.reads or READS):
            return found
    return None


def correction(instruments: Instruments, key: str, place: str) -> Number:
    """The factor or offset for the readings of one place; 1 or 0 where nothing was checked.

    Examples
    --------
    >>> correction({}, "offset_C", "hold")
    0.0
    """
    found = of_place(instruments, key, place)
    return NONE[key] if found is None else found


def corrected_settings(sections: dict[str, Any]) -> None:
    """Apply the checks to weighed amounts and to temperatures in the settings, in place."""
    instruments: Instruments = sections["instruments"]

    def weighed(part: Any, place: str) -> Any:
        factor = of_place(instruments, "factor", place)
        whole = factor is None or part.amount_g is None  # an unchecked amount stays itself, so that its tag does
        return part if whole else replace(part, amount_g=part.amount_g * factor)

    def warmed(part: Any, key: str, place: str) -> Any:
        shift, was = of_place(instruments, "offset_C", place), getattr(part, key, None)
        return part if shift is None or was is None else replace(part, **{key: was + shift})

    sections["feed"] = tuple(weighed(part, "feed") for part in sections["feed"])
    sections["inoculum"] = weighed(sections["inoculum"], "inoculum")
    sections["conditions"] = warmed(sections["conditions"], "temperature_C", "conditions")
    sections["gas"] = tuple(warmed(gas, "collector_temperature_C", "gas") for gas in sections["gas"])


def corrected_table(name: str, frame: Frame, instruments: Instruments) -> Any:
    """A table with the nominal corrections applied to its weights, temperatures and pressures."""
    place = name if name in READS else "gas"
    factor = nominal(correction(instruments, "factor", place))
    for column in ("weight_g", "tare_g", "wet_g", "dry_g"):
        if column in frame and factor != 1.0:
            frame[column] = frame[column] * factor
    for column, key in (("temperature_C", "offset_C"), ("pressure_bar", "offset_bar")):
        shift = nominal(correction(instruments, key, place))
        if column in frame and shift and name not in ("standards", "samples"):
            frame[column] = frame[column] + shift
    return frame
