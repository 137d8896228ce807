"""Numbers as people write them, with ± and unit, read once into fermkit's units.

Everything that a person types into a run passes through here: ``"240 ± 2 g"``,
``"0,45 L"``, ``"45 to 55 °C"``, ``"250 mL, tolerance 2 mL"``. After it numbers are bare and
their unit stands in their name. This is the only place that knows pint.
"""

import functools
import math
import re
from dataclasses import dataclass, field
from typing import Any, Final

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import HALF_WIDTH

SPELLINGS: Final = {
    "": "dimensionless", "-": "dimensionless", "1": "dimensionless", "pH": "dimensionless",
    "%": "percent", "per cent": "percent", "°Bx": "percent", "°Brix": "percent", "g/100 g": "percent",
    "°C": "degC", "ºC": "degC", "C": "degC", "°F": "degF", "ºF": "degF", "F": "degF",
    "l": "L", "ml": "mL", "ML": "mL", "Ml": "mL", "cc": "mL", "cm3": "mL", "dm3": "L", "ul": "uL", "µL": "uL",
    "µl": "uL", "Kg": "kg", "KG": "kg", "Bar": "bar",
    "gr": "g", "gram": "g", "grams": "g", "hr": "h", "hrs": "h", "hours": "h", "hour": "h", "mins": "min",
    "minutes": "min", "sec": "s", "seconds": "s", "d": "day", "days": "day", "mbar": "millibar", "hpa": "hPa",
    "kpa": "kPa", "volt": "V", "volts": "V", "fl oz": "fluid_ounce",
}  # fmt: skip
"""What people write, and what it means (common practice, no source)."""

EVERYDAY: Final = {
    ("percent", "dimensionless"): 0.01, ("hPa", "bar"): 0.001, ("millibar", "bar"): 0.001, ("kPa", "bar"): 0.01,
    ("L", "mL"): 1000.0, ("mL", "L"): 0.001, ("kg", "g"): 1000.0, ("mg", "g"): 0.001, ("min", "h"): 1 / 60,
    ("s", "h"): 1 / 3600, ("day", "h"): 24.0, ("mL/min", "mL/h"): 60.0, ("L/h", "mL/h"): 1000.0,
}  # fmt: skip
"""Factors that follow from the definitions (SI Brochure, 9th ed.), so that most runs never load the unit table;
the tests hold each to pint."""

BY_VOLUME: Final = frozenset({"%vol", "%v/v", "vol%", "%(v/v)", "%abv", "%byvolume", "pctvol"})
"""Spellings of percent by volume, spaces left out. Plain ``%`` is not one of them: it may be by mass."""

_UNIT: Final = re.compile(r"[A-Za-zµ°º%² ()]{0,16}[23]?(?:[/·*][A-Za-zµ°º% ()]{1,16}[23]?){0,2}|-|1|g/100 g")
_NUMBER: Final = r"[+-]?(?:\d[\d.,' ]{0,30}|[.,]\d{1,30})(?:[eE][+-]?\d{1,3})?"
_WORD: Final = r"(?:[^\d±,;+]|(?<=[a-zA-Z])[23])*?"
_WRITTEN: Final = re.compile(
    rf"\s*(?P<value>{_NUMBER})\s*(?:(?:to|–|\.\.)\s*(?P<top>{_NUMBER})\s*)?(?P<unit>{_WORD})\s*"
    rf"(?:(?:±|\+/-|\+-)\s*(?P<u>{_NUMBER})\s*(?P<u_unit>{_WORD})\s*)?"
    rf"(?:[,;]\s*(?:tolerance|resolution)\s*(?P<half>{_NUMBER})\s*(?P<half_unit>{_WORD})\s*)?"
)
_LONGEST: Final = 120
ABOUT: Final = re.compile(r"\s*(?:about|around|roughly|approx\.?|approximately|ca\.?|circa|~|≈)\s*", re.IGNORECASE)
"""Words for a rough number (common practice, no source)."""



@dataclass(frozen=True, slots=True)
class Quantity:
    """A number as written: value, standard uncertainty, and the ends where an interval was given.

    `stated` says whether an uncertainty or interval was written, `about` whether the number was called rough;
    `resolution` is one step of its last digit, in the wanted unit.
    """

    value: float
    u: float = 0.0
    ends: tuple[float, float] | None = None
    stated: bool = field(default=False, repr=False, compare=False)
    about: bool = field(default=False, repr=False, compare=False)
    resolution: float = field(default=0.0, repr=False, compare=False)


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

    Raises
    ------
    InputError
        If `unit` is unknown or of another kind than `to`.

    Examples
    --------
    >>> conversion("hPa", "bar")
    (0.001, 0.0)
    >>> conversion("mL/min", "mL/h")
    (60.0, 0.0)

    References
    ----------
    Factors from pint's unit table, which follows the SI Brochure (9th ed.) and NIST SP 811.
    """
    its, wanted = _plain(unit), _plain(to)
    if its == wanted:
        return 1.0, 0.0
    if (its, wanted) in EVERYDAY:
        return EVERYDAY[its, wanted], 0.0
    try:
        if not _UNIT.fullmatch(unit.strip()) or "by volume" in (its, wanted):
            raise ValueError
        known = _registry()
        zero, one, two = (float(known.Quantity(x, its).to(wanted).m) for x in (0.0, 1.0, 2.0))
        if not math.isclose(two - one, one - zero, rel_tol=1e-9):
            raise ValueError
    except Exception:  # pint raises some ten kinds, which all mean the same to the writer
        raise InputError(
            f"the unit {unit.strip()[:40]!r} cannot be turned into {to!r}",
            f"a unit of the same kind as {to}",
            "mend the unit, or convert the number by hand",
        ) from None
    return _tidy(one - zero), _tidy(zero)


def _tidy(factor: float) -> float:
    """The factor without the dust that binary arithmetic leaves behind its twelfth digit."""
    short = float(f"{factor:.12g}")
    return short if math.isclose(short, factor, rel_tol=3e-14) else factor


def _plain(unit: str) -> str:
    """The unit in pint's spelling."""
    text = unit.strip().replace("³", "3").replace("²", "2").replace("μ", "µ")
    if text.replace(" ", "").lower() in BY_VOLUME:
        return "by volume"
    if text in SPELLINGS:
        return SPELLINGS[text]
    parts = re.split(r"([/·*])", text)
    plain = "".join(SPELLINGS.get(part.strip(), part.strip()) for part in parts if part.strip())
    return re.sub(r"(?<=[a-zA-Z])([23])\b", r"**\1", plain.replace("·", "*"))


def number(text: str, *, decimal: str = "either") -> float:
    """One number in any common hand: ``1 234,5`` or ``1,234.5`` or ``−3e-2``.

    Parameters
    ----------
    text : str
    decimal : "point", "comma" or "either"
        Which sign splits off the decimals. With "either" a lone comma is taken for the decimal sign.

    Raises
    ------
    InputError
        If the text is not a number, or could be two: ``1,234``.

    Examples
    --------
    >>> number("1 234,5"), number("1,234.5"), number("−3e-2")
    (1234.5, 1234.5, -0.03)
    """
    spaced = re.sub(r"[   '’]", " ", text.replace("−", "-").strip())
    bare = spaced.replace(" ", "")
    if " " in spaced and not re.fullmatch(r"[+-]?\d{1,3}( \d{3})+([.,]\d+)?", spaced):
        raise InputError(f"{text[:40]!r} is not one number", _with(decimal), "mend the entry")
    if decimal == "either":
        if re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", bare):
            raise InputError(
                f"{text!r} can be read as {bare.replace(',', '')} or as {bare.replace(',', '.')}",
                "a number that reads one way only",
                "write it with a decimal point and without a thousands sign",
            )
        decimal = _decimal_sign(bare)
    thousands, sign = (".", ",") if decimal == "comma" else (",", ".")
    whole = bare.split(sign)[0]
    grouped = thousands not in bare or re.fullmatch(rf"[+-]?\d{{1,3}}(\{thousands}\d{{3}})+", whole)
    try:
        if len(bare) > 40 or not bare.isascii() or not re.fullmatch(r"[\d.,eE+-]+", bare) or not grouped:
            raise ValueError
        value = float(bare.replace(thousands, "").replace(sign, "."))
        if not math.isfinite(value):
            raise ValueError
    except ValueError:
        raise InputError(f"{text[:40]!r} is not a number", _with(decimal), "mend the entry") from None
    return value


def _with(decimal: str) -> str:
    return "a number" if decimal == "either" else f"a number with a decimal {decimal}"


def _decimal_sign(bare: str) -> str:
    comma, point = bare.rfind(","), bare.rfind(".")
    return "point" if comma < 0 or point > comma or bare.count(",") > 1 else "comma"


def read_quantity(
    text: str, unit: str, name: str, *, possible: tuple[float, float] = (-math.inf, math.inf)
) -> Quantity:
    """A written quantity in the wanted unit.

    Parameters
    ----------
    text : str
        ``"240 ± 2 g"``: ± is one standard uncertainty; ``"240 g ± 1 %"`` is relative;
        ``"250 mL, tolerance 2 mL"`` and ``resolution`` are half-widths of a rectangular distribution
        (÷ √3); ``"0 to 2 %"`` is an interval, anything in it being equally likely.
    unit : str
        The unit that is wanted.
    name : str
        What a person calls it, for the message.
    possible : (low, high)
        What the number can be. It decides how ``"0.95 ± 1 %"`` is meant: as 0.95 % only where that is possible and
        the ± is no larger than the number; else as 0.95 with a hundredth of it.

    Returns
    -------
    Quantity
        value and u in `unit`.

    Raises
    ------
    InputError
        If the text cannot be read, or its unit is missing or of another kind.

    Examples
    --------
    >>> read_quantity("0,45 ± 0,02 L", "mL", "beaker")
    Quantity(value=450.0, u=20.0, ends=None)
    >>> read_quantity("45 to 55 °C", "°C", "window").ends
    (45.0, 55.0)

    References
    ----------
    JCGM 100:2008 (GUM), 4.3.7: a rectangular distribution of half-width a has u = a/√3.
    """
    plain = re.sub(r"[   ]", " ", text.replace("−", "-").replace("’", "'"))
    rough = ABOUT.match(plain)
    found = _WRITTEN.fullmatch(plain, rough.end() if rough else 0) if len(plain) <= _LONGEST else None
    if found is None:
        raise InputError(
            f"{name} is {text[:60]!r}", f"a number with its unit, such as '2.0 ± 0.1 {unit}'", "mend the entry"
        )
    try:
        return _converted(found, unit, possible, rough is not None)
    except InputError as problem:
        raise InputError(f"{name} is {text!r}: {problem.met}", problem.needed, problem.do) from None


def _converted(found: re.Match[str], unit: str, possible: tuple[float, float], about: bool) -> Quantity:
    its_unit, u_unit, half_unit = ((found[key] or "").strip() for key in ("unit", "u_unit", "half_unit"))
    behind = re.fullmatch(r"%\s+(\S.*)", u_unit)
    if not its_unit and behind and _plain(u_unit) != "by volume":  # 240 ± 2 % g
        its_unit, u_unit = behind[1], "%"
    own = its_unit or u_unit or half_unit
    if not its_unit and _plain(u_unit) == "percent" and _plain(unit) == "dimensionless":  # 0.95 ± 1 %, or 95 ± 1 %
        value = number(found["value"])
        if value and (number(found["u"]) > value or not possible[0] <= value / 100 <= possible[1]):
            return Quantity(value, abs(value) * number(found["u"]) / 100, stated=True, about=about)
    if not own and _plain(unit) != "dimensionless":
        raise InputError(
            f"no unit stands with the number {found['value']}",
            f"a unit such as {unit}",
            "write the unit after the number",
        )
    factor, offset = conversion(own, unit)
    value = factor * number(found["value"]) + offset
    if found["top"] is not None:
        low, high = sorted((value, factor * number(found["top"]) + offset))
        return Quantity((low + high) / 2, (high - low) / 2 * HALF_WIDTH, (low, high), stated=True, about=about)
    u = _width(found["u"], u_unit or own, own, unit, value)
    half = _width(found["half"], half_unit or own, own, unit, value)
    stated = found["u"] is not None or found["half"] is not None
    step = abs(factor) * last_digit(found["value"])
    return Quantity(value, math.hypot(u, half * HALF_WIDTH), stated=stated, about=about, resolution=step)


def last_digit(written: str) -> float:
    """One step of a number's last written digit.

    Examples
    --------
    >>> last_digit("240"), last_digit("0,45"), last_digit("1.5e3")
    (1.0, 0.01, 100.0)
    """
    mantissa, _, power = written.strip().lower().partition("e")
    sign = max(mantissa.rfind("."), mantissa.rfind(","))
    decimals = 0 if sign < 0 or re.fullmatch(r"[+-]?\d{1,3}(,\d{3})+", mantissa) else len(mantissa) - sign - 1
    return float(f"1e{int(power or 0) - decimals}")


def _width(text: str | None, its_unit: str, own: str, unit: str, value: float) -> float:
    """An uncertainty in the wanted unit; percent of the value where the value itself is no percentage."""
    if text is None:
        return 0.0
    size = number(text)
    if size < 0:
        raise InputError(f"the uncertainty is {size:g}", "an uncertainty of zero or more", "mend the sign")
    if _plain(its_unit) == "percent" and _plain(own) != "percent":
        return abs(value) * size / 100
    return abs(conversion(its_unit, unit)[0]) * size


def as_number(quantity: Quantity, act: Act) -> Any:
    """A bare float, or a ufloat tagged with the act that makes it uncertain.

    Examples
    --------
    >>> as_number(Quantity(2.0, 0.1), Act("jar", "filling the jar")).tag.phrase
    'filling the jar'
    """
    if quantity.u == 0:
        return quantity.value
    from uncertainties import ufloat

    return ufloat(quantity.value, quantity.u, tag=act)
