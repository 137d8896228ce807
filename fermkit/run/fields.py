"""What a field of a run is: its unit, the act that its ± belongs to, what is possible, what ± is usual.

A section of run.toml and a table are each a frozen dataclass whose fields are made here.
"""

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, TypeAlias

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.intervals import HALF_WIDTH
from fermkit.basis.written import Number

INFINITE: Final = float("inf")
NO_SOURCE: Final = "common practice, no source"
Interval: TypeAlias = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Usual:
    """The standard uncertainty of a reading that is written without one.

    Parameters
    ----------
    u : float
        At least this much, in the field's unit.
    share : float
        Or this share of the value, if that is more; of what is nearer, 0 or 1, for a value between them.
    source : str
    """

    u: float = 0.0
    share: float = 0.0
    source: str = NO_SOURCE

    def of(self, value: float, resolution: float = 0.0, *, about: bool = False, high: float = INFINITE) -> float:
        """For one value written to a `resolution`; three times as wide where it is written 'about'.

        Examples
        --------
        >>> round(Usual(0.0, 0.005).of(240.0, 1.0), 2), round(Usual(0.0, 0.005).of(5.0, 1.0), 2)
        (1.2, 0.29)
        """
        size = min(abs(value), abs(high - value)) if high == 1.0 else abs(value)
        return max(self.u, self.share * size, resolution / 2 * HALF_WIDTH) * (3.0 if about else 1.0)


WEIGHED: Final = Usual(0.0, 0.005)
"""A kitchen scale: half of the last digit shown, or half a percent of the load if that is more."""


@dataclass(frozen=True, slots=True)
class Field:
    """One key of run.toml, or one column of a table.

    Attributes
    ----------
    explains : str
        What it is, in one line.
    unit : str
        What it is converted to; "any" is kept as written.
    kind : str
        "number"; "u" (a standard uncertainty); "interval" (low and high); "range" (low and high, or a number);
        "text"; "word" (one of `words`); "words" (several); "flag"; "amount" (a mass, a volume or a kitchen
        measure); "resolution"; "grams" (dry, several add up); "strength" (of alcohol); "claim" (a person's own
        sum, without ±); of columns "number", "text" or "time".
    act : str
        What a person does to get the number; it tags the uncertainty.
    low, high : float
        Nothing outside is possible.
    usual : Usual or None
        Taken where no ± is written; None for what is exact: counts and definitions.
    needed : bool
        Of a column: without it the table is of no use.
    always : bool
        Of a column: no row may lack it.
    also : tuple of str
        Other titles that people give a column (common practice, no source).
    name, written : str
        The attribute, with its unit; and the key or title as people write it.
    """

    explains: str
    unit: str = "1"
    kind: str = "number"
    act: str = ""
    words: tuple[str, ...] = ()
    low: float = -INFINITE
    high: float = INFINITE
    usual: Usual | None = None
    example: str = ""
    needed: bool = False
    always: bool = False
    also: tuple[str, ...] = ()
    name: str = ""
    written: str = ""

    @property
    def title(self) -> str:
        """As a column's header: ``volume [mL]``."""
        unit = "V" if self.unit == "any" else self.unit
        return self.written if self.kind == "text" or unit == "1" else f"{self.written} [{unit}]"


SUFFIXES: Final = {
    "L": "_L", "mL": "_mL", "g": "_g", "h": "_h", "bar": "_bar", "°C": "_C", "mL/h": "_mL_h", "% vol": "_pct_vol",
    "kg/m3": "_kg_m3", "g/L": "_g_L", "g/h": "_g_h", "mS/cm": "_mS_cm", "°Bx": "_Bx",
    "nL": "_nL", "pg": "_pg", "m3": "_m3", "ppm": "_ppm", "kWh": "_kWh", "mol/L": "_mol_L",
}  # fmt: skip
"""How a unit ends an attribute's name."""


def says(explains: str, unit: str = "1", **more: Any) -> Any:
    """A field of a section or table; left out it is None, or its default."""
    return dataclasses.field(default=more.pop("default", None), metadata={"field": Field(explains, unit, **more)})


def text(explains: str, **more: Any) -> Any:
    """A field of free text."""
    return says(explains, kind="text", **more)


def share(explains: str, u: float = 0.002, of: float = 0.05, **more: Any) -> Any:
    """A share of a mass, 0 to 1."""
    act = more.pop("act", explains)
    return says(explains, act=act, low=0.0, high=1.0, usual=Usual(u, of), **more)


def worked_out() -> Any:
    """A value that is worked out of what was written, and never written itself."""
    return dataclasses.field(default=None, metadata={})


def fields_of(section: "type[Section]") -> tuple[Field, ...]:
    """The fields that a section or table may be written with.

    Examples
    --------
    >>> from fermkit.run.sections_batch import VesselSection
    >>> [field.written for field in fields_of(VesselSection)][:3]
    ['total', 'liquid', 'kind']
    """
    out = []
    for one in dataclasses.fields(section):  # type: ignore[arg-type]
        if "field" in one.metadata:
            about: Field = one.metadata["field"]
            bare = one.name.rstrip("_").removesuffix("_gauge").removesuffix(SUFFIXES.get(about.unit, "\0"))
            out.append(replace(about, name=one.name, written=bare.replace("_", " ")))
    return tuple(out)


def usual_number(section: "type[Section]", name: str, value: float) -> Number:
    """A value with the usual ± of a field.

    Examples
    --------
    >>> from fermkit.run.sections_gas import CollectedVolume
    >>> print(usual_number(CollectedVolume, "volume_factor", 1.0))
    1.000+/-0.020
    """
    about = next(one for one in fields_of(section) if one.name == name)
    u = about.usual.of(value) if about.usual is not None else 0.0
    return ufloat(value, u, tag=Act(f"usual {name}", f"{about.act}, not done"))


def step_of(values: Sequence[float]) -> float:
    """The step in which readings were written: the largest of 1, 2 and 5 times a power of ten that divides them all.

    Examples
    --------
    >>> step_of([240.0, 250.0, 275.0]), step_of([0.15, 0.2]), step_of([3.0]), step_of([])
    (5.0, 0.05, 1.0, 0.0)
    """
    sizes = [abs(value) for value in values if value]
    if not sizes:
        return 0.0
    for power in range(3, -7, -1):
        for times in (5.0, 2.0, 1.0):
            step = times * 10.0**power
            alone = len(sizes) < 2 and (times != 1.0 or power > 0)  # 240 alone is written to 1, not to 20
            if not alone and all(abs(value / step - round(value / step)) < 1e-6 for value in sizes):
                return step
    return 0.0


class Section:
    """What all sections share: which of their fields were written."""

    @property
    def given(self) -> dict[str, Any]:
        """Name → value of what was written or worked out."""
        return {
            one.name: getattr(self, one.name)
            for one in dataclasses.fields(self)  # type: ignore[arg-type]
            if getattr(self, one.name) is not None
        }

    def or_usual(self, name: str, values: Any) -> float:
        """A ± as written, else the usual one for these values, held against the step in which they are written."""
        written = getattr(self, name)
        if written is not None:
            return float(written)
        usual = next(about.usual for about in fields_of(type(self)) if about.name == name)
        sizes = [abs(float(value)) for value in values]
        return usual.of(max(sizes, default=0.0), step_of(sizes)) if usual is not None else 0.0

    def __bool__(self) -> bool:
        return bool(self.given)


def when(*, needed: bool = False) -> Any:
    """The time of a row; where it is needed no row may lack it."""
    also = ("t", "elapsed", "elapsed time", "clock", "time of day", "date", "date time", "datetime")
    explains = "hours, minutes or days since the start, or the clock"
    return says(explains, "h", kind="time", needed=needed, always=needed, also=also)


def warm() -> Any:
    """A temperature beside a reading."""
    return says("at that moment", "°C", low=-40.0, high=300.0, also=("temp", "t °c"))


def weighing(what: str, *also: str, needed: bool = False) -> Any:
    """A weight in a table."""
    return says(what, "g", low=0.0, needed=needed, also=also)
