"""Evaluate a published formula inside its range, on numbers, arrays, or values with uncertainty."""

from collections.abc import Callable
from typing import Any

import numpy as np

from fermkit.basis.checks import between
from fermkit.basis.errors import InputError


def within(value: Any, low: float, high: float, name: str, *, do: str = "check the value and its unit") -> None:
    """Refuse a number, or any number of an array, outside the range of a source."""
    slack = 1e-9 * (high - low)  # a value at the very end may have been rounded past it
    if isinstance(value, float) and low - slack <= value <= high + slack:
        return  # the common case, without the price of an array
    try:
        plain = np.asarray(getattr(value, "nominal_value", value), dtype=float)
    except (TypeError, ValueError):
        raise InputError(f"{name} is {value!r}", f"a number from {low:g} to {high:g}", do) from None
    if plain.size:
        for end in (float(plain.min()), float(plain.max())):
            if not low - slack <= end <= high + slack:
                between(end, low, high, name, do=do)


def evaluate(formula: Callable[..., Any], *values: Any) -> Any:
    """The formula on floats, arrays, or values with uncertainty; a float for floats."""
    if any(hasattr(value, "nominal_value") for value in values):
        import uncertainties

        return uncertainties.wrap(lambda *plain: float(formula(*plain)))(*values)
    answer = np.asarray(formula(*(np.asarray(value, dtype=float) for value in values)))
    return float(answer) if answer.ndim == 0 else answer
