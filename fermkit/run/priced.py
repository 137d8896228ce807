"""What a run cost, from the prices that it tells."""

from typing import Any

from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal, plus_minus
from fermkit.batch.estimate import Estimate
from fermkit.harvest.cost import G_PER_KG, Cost, cost_of
from fermkit.harvest.recovery import Protein
from fermkit.matter.feed import Feed
from fermkit.run.harvested import Harvest
from fermkit.run.records import Run

FREE: frozenset[str] = frozenset({"water"})
"""What counts as free where no price is told."""


def cost_of_run(
    run: Run, fed: Feed, harvest: Harvest | None = None, protein: Protein | None = None, found: Estimate | None = None
) -> Cost | None:
    """What the run cost, over what was harvested or else what the estimate says of the paste; None without a price."""
    prices = _prices(run)
    told = run.cost
    parts: dict[str, Any] = {
        name: fed.amounts[name] / G_PER_KG * price for name, price in prices.items() if name in fed.amounts
    }
    if told.energy_kWh is not None and told.energy_price is not None:
        parts["energy"] = told.energy_kWh * told.energy_price
    if told.other is not None:
        parts["other things"] = told.other
    if not parts:
        return None
    if harvest is not None:
        dry = harvest.product_dry_g
    elif found is not None:
        dry = found.amount("paste")
    else:
        raise InputError(
            f"prices of {', '.join(parts)}, and no dry yeast", "the paste weighed wet and dry", "weigh the harvest"
        )
    missing = [name for name in fed.amounts if name not in prices and name not in FREE]
    missing += ["the energy"] if told.energy_kWh is not None and told.energy_price is None else []
    return cost_of(
        parts, dry, money=told.currency or "of your money", dry_portion_g=told.dry_portion_g, not_priced=tuple(missing),
        protein_g=None if protein is None else protein.protein_g, energy_kWh=told.energy_kWh,
        water_g=None if harvest is None else harvest.paste_water_g,
    )  # fmt: skip


def _prices(run: Run) -> dict[str, Number]:
    """Price of a kilogram, by ingredient; one that comes twice has one price."""
    out: dict[str, Number] = {}
    told = [(item.ingredient, item.price) for item in run.feed]
    for name, price in (*told, (run.inoculum.ingredient, run.inoculum.price)):
        if name is None or price is None:
            continue
        if name in out and nominal(out[name]) != nominal(price):
            raise InputError(
                f"{name} costs {plus_minus(out[name])} and {plus_minus(price)}", "one price for it",
                "write their mean with its ±",
            )  # fmt: skip
        out.setdefault(name, price)
    return out
