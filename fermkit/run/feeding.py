"""What went in, what of it the yeast can grow on, and how much of the sugar was left."""

from collections.abc import Mapping
from typing import Any

from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal
from fermkit.gas.curve import GasCurve
from fermkit.matter.feed import Feed, YeastLimits, feed, yeast_limits
from fermkit.matter.ingredients import ingredient, ingredient_names
from fermkit.run.gas_routes import made_by
from fermkit.run.records import Run
from fermkit.run.sugar_in_time import SugarCourse, left_at_end


def feed_of(run: Run) -> Feed | None:
    """Everything that went in, the inoculum among it."""
    amounts: dict[str, Any] = {}
    for item in (*run.feed, *((run.inoculum,) if run.inoculum else ())):
        if item.ingredient is None or item.amount is None:
            raise InputError(
                f"a feed of {item.amount or 'no amount'} of {item.ingredient or 'no ingredient'}",
                "an ingredient and its amount",
                'write ingredient = "white sugar" and amount = "120 ± 1 g"',
            )  # fmt: skip
        name, amount = item.ingredient, item.amount if item.amount_g is None else item.amount_g
        if name in amounts and (isinstance(amount, str) or isinstance(amounts[name], str)):
            raise InputError(
                f"{name} is fed twice, once as {amount!r}", "grams wherever an ingredient comes twice", "weigh it"
            )
        amounts[name] = amounts[name] + amount if name in amounts else amount
    own = {name: _completed(name, parts.given) for name, parts in run.ingredients.items()}
    dry = run.inoculum.dry_matter
    if dry is not None and run.inoculum.ingredient is not None:
        own[run.inoculum.ingredient] = {"yeast": dry, "water": 1.0 - dry}
    return feed(amounts, own) if amounts else None


def _completed(name: str, parts: Mapping[str, Any]) -> dict[str, Any]:
    """A composition of the run's own; elements that it does not give are those of the built-in ingredient."""
    usual = dict(ingredient(name).contents) if name in ingredient_names() else {}
    return usual | dict(parts)


def limits_of(run: Run, fed: Feed) -> YeastLimits:
    """The most yeast that the feed allows, with the air that the run had."""
    aeration = run.conditions.aeration
    return yeast_limits(fed, air="not stated" if aeration is None else "none" if aeration == "none" else "some")


def sugar_left_of(run: Run, course: SugarCourse | None) -> Number | None:
    """Sugar in the liquid at the end, as measured [g/L as hexose]."""
    return left_at_end(run, course)


def _fed_after(run: Run, fed: Feed, time_h: float) -> float:
    """Hexose of what was fed later than a time [g]."""
    later = (item for item in run.feed if item.time_h is not None and nominal(item.time_h) > time_h)
    known = ((nominal(item.amount_g or 0.0), fed.ingredients.get(item.ingredient or "")) for item in later)
    return float(sum(grams * nominal(thing.hexose) for grams, thing in known if thing is not None))


def sugar_left_g(run: Run, fed: Feed, left_g_L: Number | None, gas: GasCurve | None) -> Number:
    """Hexose that was not used: in the vessel at the end, and in the samples withdrawn before [g].

    The sugar in a sample falls from the feed's to what is left in step with the gas made.
    """
    left = 0.0 if left_g_L is None else left_g_L
    litres = nominal(run.ledger.volume_L(0.0))
    start = nominal(fed.hexose_g) / litres if litres > 0 else 0.0

    def concentration(time_h: float) -> Number:
        made = made_by(gas, time_h)
        still_there: Number = left * made + start * (1.0 - made)
        not_yet = _fed_after(run, fed, time_h) / litres if litres > 0 else 0.0
        return still_there - min(not_yet, nominal(still_there))  # nothing at least, and with its ±

    unused: Number = run.ledger.amount(concentration, float("inf"))
    return unused
