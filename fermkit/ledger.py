"""The ledger of volumes: what was in the vessel at each moment, with its uncertainty."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from fermkit.errors import InputError

Floats = NDArray[np.float64]
SIGNS: Final = {"sample": -1.0, "evaporation": -1.0, "spill": -1.0, "water": 1.0, "feed": 1.0}
"""Which way each act moves the volume."""


@dataclass(frozen=True)
class Ledger:
    """The liquid through time: a starting volume and every change, in order.

    Parameters
    ----------
    start_L : float or ufloat
        With everything in, at time 0.
    time_h, change_L : numpy.ndarray of shape (n,)
        Changes, withdrawn negative.
    what : tuple of str
    """

    start_L: Any = 0.0
    time_h: Floats = field(default_factory=lambda: np.zeros(0))
    change_L: Floats = field(default_factory=lambda: np.zeros(0))
    what: tuple[str, ...] = ()

    def volume_L(self, time_h: float) -> Any:
        """Liquid just after `time_h` [L], as uncertain as the starting volume.

        Examples
        --------
        >>> Ledger(2.0, np.array([5.0]), np.array([-0.02]), ("sample",)).volume_L(6)
        1.98
        """
        return self.start_L + float(self.change_L[self.time_h <= time_h].sum())

    def total_L(self, what: str) -> float:
        """Sum of all changes of one kind [L], as a positive number."""
        return float(abs(sum(change for change, act in zip(self.change_L, self.what) if act == what)))

    def withdrawn(self, what: str = "sample") -> list[tuple[float, float]]:
        """Time [h] and volume [L] of each withdrawal of one kind."""
        return [(float(t), -float(v)) for t, v, act in zip(self.time_h, self.change_L, self.what) if act == what]


def ledger_of(start_L: Any, table: Any) -> Ledger:
    """The ledger from the table of volumes (columns time_h, what, volume_mL)."""
    if table is None:
        return Ledger(0.0 if start_L is None else start_L)
    missing = [name for name in ("time_h", "what", "volume_mL") if name not in table]
    if missing:
        raise InputError(f"volumes has no column for {', '.join(missing)}", "the columns time [h], what, volume [mL]", "add it to the header")
    return Ledger(
        0.0 if start_L is None else start_L,
        table["time_h"].to_numpy(dtype=float),
        np.array([_signed(row) for row in table.to_dict("records")]),
        tuple(str(word).strip().lower() for word in table["what"]),
    )


def _signed(row: Mapping[str, Any]) -> float:
    what, volume = str(row["what"]).strip().lower(), float(row["volume_mL"])
    if what not in SIGNS:
        raise InputError(f"volumes, row {row['row']}: what is {what[:30]!r}", f"one of: {', '.join(SIGNS)}", "mend the entry")
    if not volume >= 0:
        raise InputError(f"volumes, row {row['row']}: volume is {volume:g} mL", "a volume of zero or more", "write the amount; the word says which way")
    return SIGNS[what] * volume / 1000
