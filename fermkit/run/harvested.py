"""What came out: the weighings of the harvest, the warm hold, the drying, and what was recovered."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Number, Page, Written, nominal, percent
from fermkit.batch.known import nitrogen_source_of
from fermkit.gas.curve import GasCurve
from fermkit.harvest.dry_matter import Solids, solids
from fermkit.harvest.drying import DryingCurve, drying_curve
from fermkit.harvest.recovery import (
    NetYeast,
    Protein,
    Recovery,
    carried_solids,
    net_extract,
    net_yeast,
    protein,
    recovery,
)
from fermkit.harvest.washing import Washing
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import Feed
from fermkit.run.gas_routes import made_by
from fermkit.run.records import Run

PASTE_WATER: Final = (3.0, 1.0)
"""Liquid in a paste that drained or was spun, per gram dry [g/g]: 20 to 33 % solids (common practice, no source)."""


@dataclass(frozen=True, repr=False)
class Harvest(Written):
    """What was weighed at harvest, all in g.

    Attributes
    ----------
    items : mapping of Solids
        Each item that was weighed wet and dry.
    product_dry_g : ufloat
        Dry matter of all the paste: its wet weight times the solids of the sample that was dried.
    split_dry_g : ufloat
        Dry matter of the part of the paste that was autolysed.
    paste_water_g : ufloat or None
        Liquid in all the paste; None where it was not weighed wet.
    extract_g, debris_g : ufloat or None
        Dry matter of the two fractions, as weighed.
    share : ufloat
        Share of the solids that came into the paste: as told, or what is usual.
    share_told : bool
        Whether it was told.
    """

    items: Mapping[str, Solids]
    product_dry_g: Number
    split_dry_g: Number
    paste_water_g: Number | None
    extract_g: Number | None
    debris_g: Number | None
    share: Number
    share_told: bool

    def page(self) -> Page:
        """The weighings as a page."""
        lines = [
            Line(f"{name}, dry", item.dry_g, "g", f"solids {percent(item.solids_fraction)}")
            for name, item in self.items.items()
        ]
        lines.append(Line("dry matter of all the paste", self.product_dry_g, "g"))
        lines += [Line("liquid in it", self.paste_water_g, "g")] if self.paste_water_g is not None else []
        note = "as told" if self.share_told else "not told: what is usual, unless what was poured off was measured"
        lines.append(Line("of all solids, harvested", 100 * self.share, "%", note))
        return Page("Harvest", lines)


def weighings_of(run: Run) -> tuple[dict[str, Number], dict[str, Solids]]:
    """By item: what it weighed wet [g], and its solids where it was dried; several dishes of an item add up."""
    left = 0.0 if run.harvest.moisture_left is None else run.harvest.moisture_left
    wet: dict[str, Number] = {}
    dishes: dict[str, list[Solids]] = {}
    for row in run.tables["weights"].to_dict("records") if "weights" in run.tables else ():
        name = str(row["item"]).strip().lower()
        tare, gross, dry = (_weighed(run, row, column) for column in ("tare_g", "wet_g", "dry_g"))
        if gross is not None:
            wet[name] = wet.get(name, 0.0) + gross - (0.0 if tare is None else tare)
        if gross is not None and dry is not None:
            dishes.setdefault(name, []).append(solids(0.0 if tare is None else tare, gross, dry, left))
    return wet, {name: _together(those) for name, those in dishes.items()}


def _together(dishes: list[Solids]) -> Solids:
    return Solids(sum(one.wet_g for one in dishes), sum(one.dry_g for one in dishes)) if dishes[1:] else dishes[0]


def harvest_of(run: Run) -> Harvest | None:
    """The weighings of the harvest, by item: paste, paste sample, extract, debris.

    ``paste`` may be weighed wet only; its dry matter is then that of ``paste sample``, which was taken from
    it and dried. Extract and debris come from the rest of the paste. Dry grams that run.toml gives count where the
    table has none.
    """
    wet, items = weighings_of(run)
    water: Number | None = None
    if "paste" in items:
        product = split = items["paste"].dry_g
        water = items["paste"].water_g
    elif "paste" in wet and "paste sample" in items:
        part = items["paste sample"]
        product = wet["paste"] * part.solids_fraction
        water = wet["paste"] - product
        split = (wet["paste"] - part.wet_g) * part.solids_fraction
    elif run.harvest.paste_g is not None:
        product = split = run.harvest.paste_g
    elif wet:
        raise InputError(
            f"weights lists {', '.join(wet)}",
            "the item 'paste' weighed wet and dry, or wet with a dried 'paste sample'",
            "name the items so, or weigh what is missing",
        )
    else:
        return None
    dry = {name: item.dry_g for name, item in items.items()}
    extract, debris = dry.get("extract", run.harvest.extract_g), dry.get("debris", run.harvest.debris_g)
    told = run.harvest.share_harvested
    if told is not None and not nominal(told) > 0:
        raise InputError(
            f"the share harvested is {percent(told)}", "a share above zero", "leave it out where nobody knows it"
        )
    share = usual.HARVESTED.value() if told is None else told
    return Harvest(items, product, split, water, extract, debris, share, told is not None)


def _weighed(run: Run, row: Mapping[str, Any], column: str) -> Number | None:
    """One weighing with its own error, or None where the cell is empty."""
    value = float(row.get(column, np.nan))
    if not np.isfinite(value):
        return None
    u = run.harvest.or_usual("u_weighing_g", [value])
    return ufloat(value, u, tag=Act(f"weighed {row['item']}", f"weighing the {row['item']}"))


def drying_of(run: Run, harvest: Harvest | None) -> DryingCurve | None:
    """The drying curve of the item that was weighed while it dried (the extract, unless the table says)."""
    table = run.tables.get("drying")
    if table is None:
        return None
    item = str(table["item"].iloc[0]).strip().lower() if "item" in table else "extract"
    dried = harvest.items.get(item) if harvest is not None else None
    tare = _tare(run, item)
    found = drying_curve(
        table["time_h"].to_numpy(float), table["weight_g"].to_numpy(float) - nominal(tare),
        dry_g=dried and dried.dry_g, u_weight_g=run.harvest.or_usual("u_weighing_g", table["weight_g"]),
    )  # fmt: skip
    off = tare - nominal(tare)  # one weighing of the dish, which moves the whole curve
    return replace(found, start_g=found.start_g - off, end_g=found.end_g - off)


def _tare(run: Run, item: str) -> Number:
    """What the dish weighed empty, with its error; nothing where nobody weighed it."""
    rows = run.tables["weights"].to_dict("records") if "weights" in run.tables else []
    tares = [_weighed(run, row, "tare_g") for row in rows if str(row["item"]).strip().lower() == item]
    return tares[0] if tares and tares[0] is not None else 0.0


def yeast_of(
    run: Run, fed: Feed, harvest: Harvest, gas: tuple[GasCurve, ...], washed: Washing | None = None
) -> NetYeast:
    """Net dry yeast: what the paste holds and what was poured off, less feed solids carried along, less the inoculum.

    What stayed behind at the harvest is added back, and so is the share of samples and spills, the yeast growing in
    step with the gas.
    """
    lost = None if harvest.share_told or washed is None else poured_off_g(run, washed)
    product = harvest.product_dry_g
    product = product / harvest.share if lost is None else product * (1.0 + usual.ON_THE_WALLS.value()) + lost
    put_in = fed.inoculum_g
    if not nominal(put_in) > 0:  # nobody told: the usual, with its ±
        put_in = usual.INOCULUM.value() * nominal(fed.hexose_g)
    first = min(1.0, nominal(put_in) / nominal(product)) if nominal(product) > 0 else 1.0
    litres = run.ledger.amount(lambda time: first + (1 - first) * made_by(gas[0] if gas else None, time), float("inf"))
    if run.ledger.entries and nominal(run.ledger.start_L) > 0:
        product = product * (litres / run.ledger.volume_L(float("inf")))
    share = run.harvest.carried_solids
    if share is not None:
        return net_yeast(product, fed.non_yeast_solids_g * share, put_in)
    return net_yeast(product, carried_g(run, fed, harvest, washed), put_in)


BEFORE_WASHING: Final = "before washing"


def carried_g(run: Run, fed: Feed, harvest: Harvest, washed: Washing | None) -> Number:
    """Feed solids in the weighed paste [g]: dissolved in its liquid, and mud; without a word on washing what the liquid
    holds as broth."""
    if washed is not None:
        before = run.harvest.paste_weighed == BEFORE_WASHING
        mud = fed.non_yeast_solids_g * usual.MUD.value()
        return (washed.carried_before_g if before else washed.carried_g) + mud
    broth_L = run.ledger.volume_L(float("inf"))
    if not nominal(broth_L) > 0:  # nobody told how much liquid: none of the solids, or all
        act = Act("carried solids", "feed solids in the paste of a liquid whose volume is not told")
        return rectangle(0.0, 1.0, act) * fed.non_yeast_solids_g
    broth_g_L = broth_solids_g_L(run, fed, harvest)
    return carried_solids(broth_g_L * broth_L, broth_L * 1000.0, paste_liquid_g(harvest))


def poured_off_g(run: Run, washed: Washing) -> Number | None:
    """Dry yeast that was poured away before the paste was weighed [g]; None where that is not all known."""
    away, washes = washed.settled_away_g, washed.washed_away_g
    if run.harvest.paste_weighed == BEFORE_WASHING:
        return away
    return None if away is None or washes is None else away + washes


def paste_liquid_g(harvest: Harvest) -> Number:
    """Liquid in the paste [g], as weighed or as usual."""
    if harvest.paste_water_g is not None:
        return harvest.paste_water_g
    usually = ufloat(*PASTE_WATER, tag=Act("paste water", "liquid of a paste that was not weighed wet"))
    return harvest.product_dry_g * usually


def broth_solids_g_L(run: Run, fed: Feed, harvest: Harvest) -> Number:
    """What the broth holds dissolved by the recipe [g/L]: solids of the feed, glycerol, sugar left over."""
    broth_L = run.ledger.volume_L(float("inf"))
    if not nominal(broth_L) > 0:
        raise InputError(f"{nominal(broth_L):g} L of liquid told at the end", "how much liquid there was",
                         'write liquid = "2.0 ± 0.05 L" under [vessel]')  # fmt: skip
    glycerol = usual.GLYCEROL[nitrogen_source_of(fed)].value() * molar_mass("glycerol") / 1000.0
    made = max(nominal(harvest.product_dry_g - fed.inoculum_g), 0.0) * glycerol
    left = 0.0 if run.residual_sugar.value_g_L is None else run.residual_sugar.value_g_L
    return (fed.non_yeast_solids_g + made) / broth_L + left


def _opened(harvest: Harvest, yeast: NetYeast | None) -> dict[str, Number]:
    """What the part of the paste that was opened is made of [g dry]."""
    if yeast is None:
        return {"dry_yeast_g": harvest.split_dry_g, "non_yeast_solids_g": 0.0, "inoculum_g": 0.0}
    part = harvest.split_dry_g / yeast.product_dry_g
    return {
        "dry_yeast_g": yeast.yeast_g * part,
        "non_yeast_solids_g": yeast.non_yeast_solids_g * part,
        "inoculum_g": yeast.inoculum_dry_g * part,
    }


def recovery_of(run: Run, harvest: Harvest, yeast: NetYeast | None) -> Recovery | None:
    """Whether extract and debris add up to the paste that was split and its salt; feed solids and inoculum told
    apart."""
    if harvest.extract_g is None or harvest.debris_g is None:
        return None
    return recovery(**_opened(harvest, yeast), extract_g=harvest.extract_g, debris_g=harvest.debris_g,
                    added_g=salt_g(run))  # fmt: skip


def salt_g(run: Run) -> Number:
    """Salt that was added to the paste [g]."""
    return 0.0 if run.harvest.salt_g is None else run.harvest.salt_g


def extract_of_all_g(run: Run, harvest: Harvest, yeast: NetYeast | None) -> Number | None:
    """Net extract as if all the paste had been autolysed [g]; None where no extract was weighed."""
    if harvest.extract_g is None:
        return None
    net: Number = net_extract(harvest.extract_g - salt_g(run), **_opened(harvest, yeast))
    return net * (harvest.product_dry_g / harvest.split_dry_g)


def protein_of(run: Run, harvest: Harvest) -> Protein | None:
    """Protein of the dried paste from its nitrogen."""
    nitrogen = run.harvest.nitrogen
    if nitrogen is None:
        return None
    return protein(nitrogen * harvest.product_dry_g, dry_g=harvest.product_dry_g)
