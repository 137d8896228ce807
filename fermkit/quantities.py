"""Numbers as people write them, with ± and unit, read once into fermkit's units.

Everything that a person types into a run passes through here: ``"240 ± 2 g"``,
``"0,45 L"``, ``"45 to 55 °C"``, ``"250 mL, tolerance 2 mL"``. After it, numbers are
bare and their unit stands in their name. This is the only place that knows pint.
"""

import functools
import math
import re
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.errors import InputError

SPELLINGS: Final = {
    "%": "percent", "per cent": "percent", "°C": "degC", "° C": "degC", "ºC": "degC", "C": "degC",
    "°F": "degF", "F": "degF", "l": "L", "ml": "mL", "ML": "mL", "cc": "mL", "cm3": "mL", "cm³": "mL",
    "dl": "dL", "cl": "cL", "µL": "uL", "μL": "uL", "ul": "uL", "gr": "g", "gram": "g", "grams": "g",
    "hr": "h", "hrs": "h", "hours": "h", "sec": "s", "days": "day", "d": "day", "mins": "min",
    "mbar": "millibar", "hpa": "hPa", "kpa": "kPa", "°Bx": "percent", "°Brix": "percent",
    "kg/m³": "kg/m3", "g/cm³": "g/mL", "": "dimensionless", "-": "dimensionless", "1": "dimensionless",
}  # fmt: skip
"""What people write, and what it means (common practice, no source)."""

UNIT_TEXT: Final = re.compile(r"[A-Za-zµμ°º%³² ]{1,16}[23]?(?:[/·*][A-Za-zµμ°º%³² ]{1,16}[23]?){0,2}|-|1|")
NUMBER: Final = r"[+\-−]?(?:\d[\d.,'’  ]{0,30}|[.,]\d{1,30})(?:[eE][+\-−]?\d{1,3})?"
WRITTEN: Final = re.compile(
    rf"\s*(?P<value>{NUMBER})\s*(?:(?:to|–|\.\.)\s*(?P<top>{NUMBER})\s*)?(?P<unit1>(?:[^\d±,;+]|(?<=[a-z])3)*?)\s*"
    rf"(?:(?:±|\+/-|\+-)\s*(?P<u>{NUMBER})\s*(?P<unit2>(?:[^\d±,;]|(?<=m)3)*?)\s*)?"
    rf"(?:[,;]\s*(?P<shape>tolerance|resolution)\s*(?P<half>{NUMBER})\s*(?P<unit3>[^\d±,;]*)\s*)?"
)
Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as written: value, standard uncertainty, and the ends where an interval was given."""

    value: float
    u: float = 0.0
    ends: tuple[float, float] | None = None


@functools.cache
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


@functools.lru_cache(maxsize=512)
def conversion(unit: str, to: str) -> tuple[float, float]:
    """Factor and offset that turn a number in `unit` into one in `to`.

    Parameters
    ----------
    unit, to : str
        As written (``"mL"``, ``"°C"``, ``"% vol"``) and as wanted.

    Returns
    -------
    (float, float)
        new = factor × old + offset.

    Examples
    --------
    >>> conversion("hPa", "bar")
    (0.001, 0.0)
    >>> conversion("min", "h")[0]
    0.016666

    References
    ----------
    Factors from pint's unit table (SI Brochure, 9th ed.; NIST SP 811).
    """
    unit, to = unit.strip(), to.strip()
    if _plain(unit) == _plain(to):
        return 1.0, 0.0
    if not UNIT_TEXT.fullmatch(unit):
        raise InputError(f"the unit {unit[:40]!r} is not one", f"a unit such as {to}", "mend the unit")
    try:
        known = _registry()
        zero, one, two = (float(known.Quantity(x, _plain(unit)).to(_plain(to)).m) for x in (0.0, 1.0, 2.0))
    except Exception as problem:  # pint raises some ten kinds, all meaning the same to the writer
        raise InputError(
            f"the unit {unit!r} cannot be turned into {to!r}",
            f"a unit of the same kind as {to}",
            f"mend the unit or the number ({type(problem).__name__})",
        ) from None
    if not math.isclose(two - one, one - zero, rel_tol=1e-9):
        raise InputError(f"the unit {unit!r} is not proportional to {to!r}", f"a unit such as {to}", "convert it by hand")
    return float(f"{one - zero:.15g}"), float(f"{zero:.12g}")


def _plain(unit: str) -> str:
    parts = [SPELLINGS.get(part.strip(), part.strip()) for part in re.split(r"([/·*])", unit)]
    text = "".join(parts).replace("·", "*").replace("³", "3").replace("²", "2")
    text = re.sub(r"(?<=[a-zA-Z])([23])\b", r"**\1", text)
    return "percent_by_volume" if re.fullmatch(r"percent ?(vol|v/v|by volume)|vol ?percent", text.replace("% ", "percent ").replace(" %", " percent")) else text


def number(text: str, *, decimal: str = "either") -> float:
    """One number in any common hand: ``1 234,5`` or ``1,234.5`` or ``−3e-2``.

    Parameters
    ----------
    text : str
    decimal : "point", "comma" or "either"
        Which sign splits off the decimals. With "either" a lone comma is a decimal comma,
        unless it can only be a thousands sign (both kinds present, or repeated).

    Raises
    ------
    InputError
        If the text is not a number, or could be two.

    Examples
    --------
    >>> number("1 234,5"), number("1,234.5"), number("−3e-2")
    (1234.5, 1234.5, -0.03)
    """
    bare = text.strip().replace("−", "-").replace(" ", "").replace(" ", "").replace(" ", "").replace("'", "").replace("’", "")
    if decimal == "either" and re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", bare):
        raise InputError(
            f"{text!r} can be read as {bare.replace(',', '')} or as {bare.replace(',', '.')}",
            "a number that reads one way only",
            "write it with a decimal point and without a thousands sign",
        )
    if decimal == "either":
        decimal = _decimal_sign(bare)
    thousands, sign = (".", ",") if decimal == "comma" else (",", ".")
    whole = bare.split(sign)[0]
    if thousands in bare and not re.fullmatch(rf"[+-]?\d{{1,3}}(\{thousands}\d{{3}})+", whole):
        raise InputError(f"{text!r} is not a number", f"a number with a decimal {decimal}", "mend the entry")
    try:
        value = float(bare.replace(thousands, "").replace(sign, ".")) if re.fullmatch(r"[\d.,eE+\-]+", bare) else math.nan
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(f"{text[:40]!r} is not a number", f"a number with a decimal {decimal}", "mend the entry")
    return value


def _decimal_sign(bare: str) -> str:
    comma, point = bare.rfind(","), bare.rfind(".")
    if comma < 0 or (point >= 0 and point > comma) or bare.count(",") > 1:
        return "point"
    return "comma"


def read_quantity(text: str, unit: str, name: str) -> Quantity:
    """A written quantity in the wanted unit.

    Parameters
    ----------
    text : str
        ``"240 ± 2 g"`` (± is one standard uncertainty), ``"2 % ± 10 %"`` is refused as two-faced;
        ``"240 g ± 1 %"`` is relative; ``"250 mL, tolerance 2 mL"`` and ``resolution`` are half-widths
        of a rectangular distribution (÷ √3); ``"0 to 2 %"`` is an interval (mid ± half/√3).
    unit : str
        The unit that is wanted.
    name : str
        What a person calls it, for the message.

    Returns
    -------
    Quantity
        value and u in `unit`.

    Raises
    ------
    InputError
        If the text cannot be read, or its unit is of another kind or missing.

    Examples
    --------
    >>> read_quantity("0,45 ± 0,02 L", "mL", "beaker")
    Quantity(value=450.0, u=20.0, ends=None)
    >>> read_quantity("45 to 55 °C", "degC", "window").ends
    (45.0, 55.0)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7: a rectangular distribution of half-width a has u = a/√3.
    """
    found = WRITTEN.fullmatch(text) if len(text) <= 120 else None
    if found is None:
        raise InputError(
            f"{name} is {text[:60]!r}", f"a number with its unit, such as '2.0 ± 0.1 {unit}'", "mend the entry"
        )
    try:
        return _converted(found, unit, name)
    except InputError as problem:
        raise InputError(f"{name} is {text!r}: {problem.met}", problem.needed, problem.do) from None


def _converted(found: re.Match[str], unit: str, name: str) -> Quantity:
    unit1, unit2, unit3 = ((found[key] or "").strip() for key in ("unit1", "unit2", "unit3"))
    own = unit1 or unit2 or unit3
    if not own and _plain(unit) not in ("dimensionless", "pH"):
        raise InputError("no unit stands with the number", f"a unit such as {unit}", f"write the unit: '… {unit}'")
    factor, offset = (1.0, 0.0) if _plain(own) == _plain("") else conversion(own, unit)
    value = number(found["value"])
    if found["top"] is not None:
        low, high = sorted(factor * x + offset for x in (value, number(found["top"])))
        return Quantity((low + high) / 2, (high - low) / 2 / math.sqrt(3), (low, high))
    u = _spread(found["u"], unit1 and unit2, own, unit, factor, value)
    half = _spread(found["half"], unit3, own, unit, factor, value)
    return Quantity(factor * value + offset, math.hypot(u, half / math.sqrt(3)))


def _spread(text: str | None, its_unit: str | None, own: str, unit: str, factor: float, value: float) -> float:
    if text is None:
        return 0.0
    size = number(text)
    if size < 0:
        raise InputError(f"the uncertainty is {size:g}", "an uncertainty of zero or more", "mend the sign")
    if its_unit and _plain(its_unit) == "percent" and _plain(own) != "percent":
        return abs(factor * value) * size / 100
    own_factor = conversion(its_unit, unit)[0] if its_unit and its_unit != own else factor
    return abs(own_factor) * size


def as_number(quantity: Quantity, act: str) -> Any:
    """A bare float, or a ufloat tagged with the act that makes it uncertain.

    Examples
    --------
    >>> as_number(Quantity(2.0, 0.1), "filling the jar").tag
    'filling the jar'
    """
    if quantity.u == 0:
        return quantity.value
    from uncertainties import ufloat

    return ufloat(quantity.value, quantity.u, tag=act)
