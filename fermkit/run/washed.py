"""What was poured off the yeast: solids that stay in the paste, yeast that was lost."""

from collections.abc import Mapping
from typing import Any, Final

import numpy as np
from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.errors import InputError
from fermkit.basis.written import Number, nominal
from fermkit.calibration.refractometer import as_sucrose, ethanol_as_sucrose
from fermkit.harvest.washing import Poured, Washing, washing
from fermkit.matter.feed import Feed
from fermkit.matter.properties import ethanol_mass_concentration
from fermkit.run.fields import fields_of
from fermkit.run.harvested import Harvest, broth_solids_g_L, paste_liquid_g
from fermkit.run.records import Run
from fermkit.run.sections_harvest import POURED, WashingRow

SOLIDS_BY_LIGHT: Final = ufloat(0.95, 0.08, tag=Act("solids by Brix", "taking °Bx for the dry solids of a feed"))
"""Dry solids for each gram of sugar that would bend light as much, alcohol taken off [g/g]: salts and gums differ
(judgement, no source)."""


ALL_OF_IT: Final = 1.1
"""Supernatant over liquid, at most: two measuring jugs differ by less than a tenth (common practice, no source)."""


def washing_of(run: Run, fed: Feed, harvest: Harvest, pct_vol: Number | None) -> Washing | None:
    """What was poured off, and what stayed in the paste; None where nobody noted it."""
    if "washing" not in run.tables:
        return None
    rows = run.tables["washing"].to_dict("records")
    for row in rows:
        row["what"] = str(row["what"]).strip().lower()
        if row["what"] not in POURED:
            raise InputError(
                f"washing.csv lists {row['what'][:40]!r}", ", ".join(POURED[:-1]) + " or water",
                "name each liquid so; what it was goes under note",
            )  # fmt: skip
    first = [row for row in rows if row["what"] == "supernatant"]
    if len(first) > 1:
        raise InputError(
            f"washing.csv lists {len(first)} supernatants", "one", "add their volumes up; later ones are washes"
        )
    plain = [row for row in rows if row["what"] == "water"]
    broth = broth_solids_g_L(run, fed, harvest)
    alcohol = _alcohol_as_sucrose(pct_vol)
    brix = _read(first[0], "brix_Bx") if first else None
    whole = alcohol + broth / SOLIDS_BY_LIGHT if brix is None else as_sucrose(brix)
    # the same share in each liquid, as alcohol thins out like all else
    share = alcohol / whole if nominal(whole) > 0 else 0.0
    if nominal(share) > 1.0:
        raise InputError(
            f"a supernatant that reads as {nominal(whole):.3g} g/L sugar, its alcohol alone as {nominal(alcohol):.3g}",
            "a refractometer that shows at least what the alcohol does", "set its zero with water; check the alcohol",
        )  # fmt: skip
    supernatant = _poured(first[0], "supernatant", share) if first else None
    whole_L = nominal(run.ledger.volume_L(float("inf")))
    if supernatant is not None and nominal(supernatant.volume_L) > ALL_OF_IT * whole_L:
        raise InputError(
            f"{nominal(supernatant.volume_L):.3g} L poured off the yeast, of {whole_L:.3g} L in the vessel",
            "no more than there was", "check the volume and its unit in washing.csv; later liquids are washes",
        )  # fmt: skip
    washes = [row for row in rows if row["what"] == "wash"]
    return washing(
        broth, paste_liquid_g(harvest) / 1000.0, supernatant,
        [_poured(row, f"wash {i}", share) for i, row in enumerate(washes, start=1)],
        water_mS_cm=(_read(plain[0], "conductivity_mS_cm") if plain else None) or 0.0,
    )  # fmt: skip


def _alcohol_as_sucrose(pct_vol: Number | None) -> Number:
    """Sugar that bends light as the broth's alcohol does [g/L]."""
    if pct_vol is None or not 0.0 < nominal(pct_vol) <= 20.0:
        return 0.0
    return pct_vol * float(ethanol_mass_concentration(1.0)) * ethanol_as_sucrose(nominal(pct_vol))


def _read(row: Mapping[str, Any], column: str) -> Number | None:
    """One cell with its usual ±, each its own; None where it is empty."""
    value = float(row.get(column, np.nan))
    if not np.isfinite(value):
        return None
    about = next(one for one in fields_of(WashingRow) if one.name == column)
    assert about.usual is not None
    return ufloat(value, about.usual.of(value), tag=Act(f"washing {column}", f"{about.written} of what was poured off"))


def _poured(row: Mapping[str, Any], name: str, alcohol_share: Number) -> Poured:
    volume, solids = _read(row, "volume_mL"), _read(row, "solids_g_L")
    brix = _read(row, "brix_Bx")
    if volume is None:
        raise InputError(f"the {name} has no volume", "how much was poured off", "write it in washing.csv")
    if solids is None and brix is not None:
        solids = as_sucrose(brix) * (1.0 - alcohol_share) * SOLIDS_BY_LIGHT
    return Poured(name, volume / 1000.0, solids, _read(row, "conductivity_mS_cm"), _read(row, "cells_g_L"))
