"""The ledger of volumes: what was in the vessel at each moment, and what was taken out or added.

Amounts come from the ledger, not from one 'volume': what samples and spills took is counted at the
concentration that they had.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.quantities import Quantity, as_number
from fermkit.basis.written import Frame, Line, Number, Page, Written, nominal
from fermkit.run.fields import Usual, fields_of, step_of
from fermkit.run.sections_liquid import VolumeRow

SIGNS: Final = {"sample": -1.0, "evaporation": -1.0, "spill": -1.0, "harvest": -1.0, "water": 1.0, "feed": 1.0}
"""Which way each act moves the volume."""

USUAL: Final = next(about.usual for about in fields_of(VolumeRow) if about.name == "u_mL") or Usual()
"""The ± of a volume that is written without one."""

TAKES_ALONG: Final = ("sample", "spill", "harvest")
"""Acts that take liquid as it is; evaporation leaves what is dissolved behind."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the ledger: when, what, and by how much the volume changed [L], withdrawn negative."""

    time_h: float
    what: str
    change_L: Number


@dataclass(frozen=True, repr=False)
class Ledger(Written):
    """The liquid through time.

    Attributes
    ----------
    start_L : float or ufloat
        At time 0 with everything in [L].
    entries : tuple of Entry
        In order of time.
    """

    start_L: Number = 0.0
    entries: tuple[Entry, ...] = ()

    def volume_L(self, time_h: float) -> Any:
        """Liquid just before what is done at `time_h` [L].

        Examples
        --------
        >>> ledger = Ledger(2.0, (Entry(5.0, "sample", -0.02), Entry(9.0, "water", 0.1)))
        >>> ledger.volume_L(5.0), ledger.volume_L(6.0), ledger.volume_L(24.0)
        (2.0, 1.98, 2.08)
        """
        return self.start_L + sum((entry.change_L for entry in self.entries if entry.time_h < time_h), 0.0)

    def total_L(self, what: str) -> Any:
        """Sum of all changes of one kind [L], as a positive number."""
        return SIGNS.get(what, 1.0) * sum((entry.change_L for entry in self.entries if entry.what == what), 0.0)

    def taken(self, *what: str, before_h: float = float("inf")) -> tuple[tuple[float, Any], ...]:
        """Time [h] and volume [L] of each withdrawal of the kinds `what`, before a time."""
        return tuple((e.time_h, -e.change_L) for e in self.entries if e.what in what and e.time_h < before_h)

    @property
    def kept(self) -> Any:
        """Share of the liquid at the start that is there at the end; 1 where nothing was taken, or no start is told.

        Examples
        --------
        >>> Ledger(2.0, (Entry(5.0, "sample", -0.5),)).kept, Ledger(0.0, (Entry(5.0, "sample", -0.5),)).kept
        (0.75, 1.0)
        """
        told = self.entries and nominal(self.start_L) > 0
        return self.volume_L(float("inf")) / self.volume_L(0.0) if told else 1.0

    def amount(self, concentration: Callable[[float], Any], time_h: float) -> Any:
        """Amount there would be at `time_h` had no liquid been taken out.

        Parameters
        ----------
        concentration : function of the time [h]
            Amount per litre.
        time_h : float
            [h]

        Returns
        -------
        float or ufloat
            What is in the vessel then, plus what samples and spills took before.

        Notes
        -----
        c(t) V(t) + Σ c(tᵢ) vᵢ over the withdrawals before t.

        Examples
        --------
        >>> ledger = Ledger(2.0, (Entry(5.0, "sample", -0.1),))
        >>> ledger.amount(lambda t: 10.0 if t < 6 else 20.0, 24.0)
        39.0
        """
        inside = concentration(time_h) * self.volume_L(time_h)
        return inside + sum((concentration(t) * v for t, v in self.taken(*TAKES_ALONG, before_h=time_h)), 0.0)

    def page(self) -> Page:
        """The ledger, line by line."""
        lines = [Line("at the start", self.start_L, "L")]
        lines += [Line(f"{entry.what} at {entry.time_h:g} h", entry.change_L, "L") for entry in self.entries]
        return Page("Ledger of volumes", [*lines, Line("at the end", self.volume_L(float("inf")), "L")])


def ledger_of(start_L: Number, table: Frame, file: str = "volumes.csv") -> Ledger:
    """The ledger from the table of volumes.

    Parameters
    ----------
    start_L : float or ufloat
        [L]
    table : DataFrame or None
        Columns row, time_h, what, volume_mL, and u_mL where given.
    file : str
        For the message.

    Raises
    ------
    InputError
        For an act that is not known, a missing volume, or more taken than there is.
    """
    rows = [] if table is None else table.to_dict("records")
    ledger = Ledger(start_L, tuple(_entry(row, file) for row in rows))
    for row, entry in zip(rows, ledger.entries, strict=True):
        left = nominal(ledger.volume_L(entry.time_h + 1e-9))
        if nominal(start_L) and left <= 0:
            raise InputError(
                f"{file}, row {row['row']}: {entry.what} leaves {left:.3g} L in the vessel",
                "less taken out than there is", "check the volume and its unit in the header",
            )  # fmt: skip
    return ledger


def _entry(row: dict[str, Any], file: str) -> Entry:
    what, volume, u = str(row["what"]).strip().lower(), float(row["volume_mL"]), float(row.get("u_mL", 0.0))
    if what not in SIGNS:
        raise InputError(
            f"{file}, row {row['row']}: what is {what[:30]!r}", f"one of: {', '.join(SIGNS)}", "mend the entry"
        )
    if not volume >= 0:
        raise InputError(
            f"{file}, row {row['row']}: no volume is given for the {what}", "a volume of zero or more", "fill it in"
        )
    u = u if u > 0 else USUAL.of(volume, step_of([volume]))
    signed = Quantity(SIGNS[what] * volume / 1000, u / 1000)
    change = as_number(signed, Act(f"{what} {row['time_h']}", f"measuring the {what} of {row['time_h']:g} h"))
    return Entry(float(row["time_h"]), what, change)
