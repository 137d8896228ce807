"""Which elements of a run can be balanced, and why the others cannot."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from fermkit.balance.streams import Stream, only_sign

ROW_NAMES: Final = {
    "C": "carbon", "electrons": "electrons", "N": "nitrogen", "H": "hydrogen", "O": "oxygen",
    "P": "phosphorus", "S": "sulfur",
}  # fmt: skip


def balanced_elements(streams: Sequence[Stream], nitrogen: str) -> tuple[list[str], list[str]]:
    """Elements (or "electrons") that are balanced, no one twice, and what is said of the others.

    Carbon and electrons close without water and are always used. Nitrogen, phosphorus and the like are used where
    they are listed on both sides; hydrogen and oxygen where water is listed (hydrogen only with the nitrogen
    source, which brings its own). What follows from the others (electrons from C, H, O and N) is left out by rank.

    Parameters
    ----------
    streams : sequence of Stream
    nitrogen : str
        Nitrogen reference of the electrons.
    """
    inside = [s.content(nitrogen) for s in streams]
    wanted, notes = ["C", "electrons"], []
    both = {e for c in inside for e in c if _on_both_sides(e, streams, inside)}
    if not any(c.get("N") for s, c in zip(streams, inside) if s.role != "yeast"):
        both -= {"N"}  # an inoculum is no nitrogen source
    if "N" in both:
        wanted.append("N")
    elif any(c.get("N") for c in inside):
        notes.append(f"Nitrogen is left out: its source and its use are not both listed ({nitrogen} closes it).")
    if not any(s.role == "water" for s in streams):
        notes.append("Hydrogen and oxygen are left out: water is made, used and lost unweighed, and closes them.")
    elif "N" in both or not any(c.get("N") for c in inside):
        wanted += ["H", "O"]
    else:
        wanted.append("O")
        notes.append("Hydrogen is left out: the nitrogen source, which is not listed, brings some.")
    wanted += sorted(both - {"C", "electrons", "N", "H", "O"})
    return _independent(wanted, inside, notes)


def _on_both_sides(element: str, streams: Sequence[Stream], inside: Sequence[dict[str, float]]) -> bool:
    signs = [only_sign(s) for s, c in zip(streams, inside) if c.get(element)]
    return len(signs) > 1 and min(signs) <= 0 <= max(signs)


def _independent(
    wanted: Sequence[str], inside: Sequence[dict[str, float]], notes: list[str]
) -> tuple[list[str], list[str]]:
    used: list[str] = []
    for element in wanted:
        table = np.array([[c.get(e, 0.0) for c in inside] for e in [*used, element]])
        size = np.abs(table).max(axis=1, keepdims=True).clip(1e-300)
        if np.linalg.matrix_rank(table / size) > len(used):
            used.append(element)
        else:
            name = ROW_NAMES.get(element, element).capitalize()
            notes.append(f"{name} follows from the others and is not counted twice.")
    return used, notes
