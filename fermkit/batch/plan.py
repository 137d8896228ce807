"""Before the run: how much yeast, alcohol, gas and heat a feed can give, and what more air or nutrient would change.

Nutrients, energy and air set how much yeast can grow and how much oxygen it takes; what becomes of the sugar, and the
pressure, is then asked of the one estimate, as a run with no reading yet asks it.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import between, not_negative, one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Page, Written, nominal, plus_minus
from fermkit.batch.aeration import (
    USUAL_AIR,
    USUAL_KLA,
    ethanol_carried_out,
    oxygen_transfer,
    water_carried_out,
)
from fermkit.batch.closing import IfClosed
from fermkit.batch.estimate import Estimate, estimate
from fermkit.batch.fate import Fate, fate_of
from fermkit.batch.feeding import Feeding, feeding
from fermkit.batch.known import Recipe, nitrogen_source_of
from fermkit.batch.nutrients import Nutrients, nutrients_for
from fermkit.matter import usual
from fermkit.matter.composition import molar_mass
from fermkit.matter.feed import Feed, YeastLimits, span, yeast_ash, yeast_limits
from fermkit.matter.properties import (
    bicarbonate_factor,
    co2_solubility,
    co2_vs_water,
    ethanol_pct_vol_from_concentration,
    sucrose_density,
    water_vapour_pressure,
)
from fermkit.vessel.container import Vessel

WAYS: Final = ("without air", "aerated", "fed slowly")
"""How a batch is run: without air (behind an airlock or sealed; whether sealed is the vessel's matter); all sugar at
once with air; sugar fed with air."""

YEAST_WITH_AIR: Final = (0.50, 0.03)
"""Dry yeast from sugar by respiring, mean and standard uncertainty [g/g hexose]: common practice, no source."""

RESPIRED_IN_EXCESS: Final = (0.02, 0.15)
"""Share of the sugar that is respired although sugar is plenty (Crabtree effect), lowest and highest [-]: common
practice, no source."""

HEAT_CAPACITY: Final = 4.0
"""Heat that warms a kilogram of sugary liquid by a kelvin [kJ/(kg K)]: water 4.18, less with sugar; common practice."""


@dataclass(frozen=True, repr=False)
class BatchPlan(Written):
    """What a batch can be expected to give, and what would change it.

    Attributes
    ----------
    how : str
        One of `WAYS`.
    feed, limits : Feed, YeastLimits
    energy_g : (value, value)
        Yeast that the sugar's energy allows run this way, least and most [g].
    yeast_range_g : (value, value)
        New dry yeast, least and most [g].
    binding : tuple of str
        What can be the lowest limit: an element, or the energy.
    estimate : Estimate
        What a run of this recipe with its sugar used up, and no reading, is told: every quantity, with its interval.
    fate : Fate
        The same in moles: ethanol, CO2, glycerol, acids, oxygen, heat. Its yeast is the middle of the range ± half.
    liquid_L, temperature_C : value
    ethanol_stripped_g, water_carried_g : value
        What the gas carries out [g].
    ethanol_pct_vol : value
        At the end [% vol].
    gas_L : value or None
        CO2 that comes out, moist, at the vessel's temperature and the barometer's pressure [L]; None with air.
    oxygen_ceiling_mol : value
        The most that the air brings in the hours given [mol].
    respired_share : value
        Share of the sugar that is respired [-].
    hours_to_respire : value or None
        How long this air would need for all the sugar [h].
    nutrients : Nutrients
        What to add so that the energy binds and no element does.
    pressure : Pressure or None
        In a sealed vessel, at its temperature.
    if_closed : IfClosed or None
        The same with its 95 % interval, now and on a warm day, against the maker's rating.
    """

    how: str
    feed: Feed
    limits: YeastLimits
    energy_g: tuple[Any, Any]
    yeast_range_g: tuple[Any, Any]
    binding: tuple[str, ...]
    estimate: Estimate
    fate: Fate
    liquid_L: Any
    temperature_C: Any
    ethanol_stripped_g: Any
    water_carried_g: Any
    ethanol_pct_vol: Any
    gas_L: Any
    oxygen_ceiling_mol: Any
    respired_share: Any
    hours_to_respire: Any
    nutrients: Nutrients
    pressure: Any
    if_closed: IfClosed | None
    remarks: tuple[str, ...]

    @property
    def warming_K(self) -> Any:
        """How much the liquid would warm if none of the heat left it [K]."""
        return _warming(self.fate, self.liquid_L)

    @property
    def feeding(self) -> Feeding | None:
        """When to feed how much, where the sugar is fed slowly to some yeast."""
        if self.how != "fed slowly" or self.hours_to_respire is None or not nominal(self.feed.inoculum_g) > 0:
            return None
        return feeding(self.feed.hexose_g, self.feed.inoculum_g, self.feed.hexose_g / self.hours_to_respire)

    def page(self) -> Page:
        """The plan as a page."""
        fate = self.fate
        rq = fate.respiratory_quotient if self.how != "without air" else None
        ends = span(*self.yeast_range_g)
        most = plus_minus(self.oxygen_ceiling_mol * 1000)
        bring = "of the vessel's own air" if self.how == "without air" else f"of {most}"
        lines = [
            Line("new dry yeast", fate.yeast_g, "g", f"{ends} g; {' or '.join(self.binding)} binds"),
            Line("fermentable sugar, as hexose", self.feed.hexose_g, "g"),
            Line("liquid", self.liquid_L, "L"),
            Line("ethanol", fate.ethanol_g - self.ethanol_stripped_g, "g", "after what the gas carries out"),
            Line("alcohol", self.ethanol_pct_vol, "% vol"),
            Line("ethanol carried out by the gas", self.ethanol_stripped_g, "g"),
            Line("water carried out by the gas", self.water_carried_g, "g"),
            Line("CO2 made", fate.co2_g, "g", plus_minus(fate.co2_mol, "mol")),
            Line("sugar respired", 100 * self.respired_share, "%", "the rest ferments"),
            Line("oxygen used", fate.oxygen_mol * 1000, "mmol", bring),
            Line("heat", fate.heat_kJ, "kJ", f"{plus_minus(self.warming_K, 'K')} warmer if none left"),
        ]
        if rq is not None:
            lines.append(Line("CO2 out / O2 in", rq, "mol/mol", "about 1: respiring; far above: fermenting"))
        if self.gas_L is not None:
            lines.append(Line("gas that comes out", self.gas_L, "L", "moist, at the vessel's temperature"))
        parts = [self.limits.page(), self.nutrients.page()]
        if self.feeding is not None:
            parts.append(self.feeding.page())
        if self.if_closed is not None:
            parts.append(self.if_closed.page())
        return Page(f"Plan of a batch, {self.how}", lines, self.remarks, parts)


def plan_batch(
    feed: Feed,
    *,
    how: str = "without air",
    liquid_L: Any = None,
    temperature_C: Any = 25.0,
    hours: Any = 24.0,
    vessel: Vessel | None = None,
    oxygen_mmol_per_L_h: Any = None,
    kLa_per_h: Any = None,
    air_L_per_min: Any = None,
    pH: Any = None,
    barometer_bar: Any = STANDARD_ATMOSPHERE_BAR,
) -> BatchPlan:
    """What a feed can give when it is run one way or another, before anything is mixed.

    Parameters
    ----------
    feed : Feed
        From `feed`, the inoculum among its ingredients.
    how : "without air", "aerated" or "fed slowly"
        Without air (airlock or sealed); all sugar at once, with air; sugar fed little by little, with air.
    liquid_L : value, optional
        Liquid [L]; without it the vessel's, or the feed's mass over the density of as much sucrose.
    temperature_C : value
        [°C], 5 to 40; with a vessel its own is taken.
    hours : value
        How long air is given, or sugar is fed [h]. Not used when closed.
    vessel : Vessel, optional
        A sealed vessel: then the pressure that it would reach is worked out.
    oxygen_mmol_per_L_h : value, optional
        The most oxygen that the aeration transfers [mmol/(L h)].
    kLa_per_h : value, optional
        Or the transfer coefficient [1/h]; without both, 5 to 50 1/h is assumed and said.
    air_L_per_min : value, optional
        Air through the liquid [L/min]; without it, 0.2 to 1 L per L and min is assumed and said.
    pH : value, optional
        For the bicarbonate; without it none is counted.
    barometer_bar : value
        [bar].

    Returns
    -------
    BatchPlan

    Notes
    -----
    What becomes of the sugar is asked of `fermkit.batch.estimate`, with 2 ± 3 % of the sugar left over. Oxygen at most:
    kLa c*, with c* in balance with moist air and none left in the liquid, for the hours given. Each respired hexose
    uses (24 − γ C_yeast)/4 oxygen. Without air: only the vessel's own air is used. Fed slowly: as much is respired as
    the oxygen allows. Aerated with sugar in plenty: no more than 2 to 15 % (Crabtree). The yeast lies between the
    lowest of the least and the lowest of the most that energy, nitrogen, phosphorus, sulfur, potassium, magnesium and
    electrons allow.

    Ethanol carried out: a gas flow G in balance with the liquid takes the share 1 − (1 − e^−kt)/kt of ethanol
    made at a steady rate, k = G p_E/(c R T V), p_E/c from Henry's law, the gas 70 to 100 % saturated.

    Examples
    --------
    >>> from uncertainties import ufloat
    >>> from fermkit.matter.feed import feed
    >>> mash = feed({"white sugar": ufloat(100, 1), "water": 900.0, "active dry yeast": 5.0,
    ...              "diammonium phosphate": 3.0, "ammonium sulfate": 4.0,
    ...              "monopotassium phosphate": 1.0, "magnesium sulfate": 0.5})
    >>> plan = plan_batch(mash, liquid_L=0.97)
    >>> print(plan.binding, f"{plan.fate.yeast_g:.1f}", f"{plan.ethanol_pct_vol:.2f}")
    ('energy', 'potassium') 7.2+/-6.2 5.65+/-0.97

    References
    ----------
    Roels 1983 (balances); van Dijken, Weusthuis & Pronk, Antonie van Leeuwenhoek 63 (1993) 343 (Crabtree effect);
    Doran, Bioprocess Engineering Principles, ch. 9 (oxygen transfer); the numbers as their constants say.
    """
    one_of(how, WAYS, "how the batch is run")
    positive(nominal(feed.hexose_g), "fermentable sugar in the feed [g]")
    not_negative(nominal(hours), "hours of aeration or feeding [h]")
    if vessel is not None:
        temperature_C, barometer_bar = vessel.temperature_C, vessel.barometer_bar
    between(nominal(temperature_C), 5.0, 40.0, "temperature [°C] for yeast")
    volume = _volume(feed, liquid_L, vessel)
    said: list[str] = []
    rate = _oxygen_rate(how, oxygen_mmol_per_L_h, kLa_per_h, temperature_C, barometer_bar, said)
    grown = _grow(feed, how, rate * volume * hours / 1000.0)
    without_air = how == "without air"
    space = None if vessel is None else vessel.total_L - volume
    recipe = Recipe(
        feed, volume, space if space is not None and nominal(space) > 0 else None, temperature_C, barometer_bar, pH,
        air_pump=not without_air, better=grown.better,
    )  # fmt: skip
    found = estimate(recipe, vessel=vessel if without_air else None, state="used up" if without_air else "not stated")
    fate = fate_of(found)
    held = co2_held(volume, temperature_C, barometer_bar, pH)
    gas_L = _gas_out(fate.co2_mol - held, temperature_C, barometer_bar) if without_air else None
    through_L = gas_L if gas_L is not None else _air(air_L_per_min, volume, said) * 60.0 * hours
    stripped = ethanol_carried_out(fate.ethanol_g, volume, through_L, temperature_C)
    strength = ethanol_pct_vol_from_concentration((fate.ethanol_g - stripped) / volume)
    pressure = _pressure(how, vessel, fate.co2_mol, said)
    longest = grown.oxygen_for_all_mol * 1000.0 / (rate * volume) if nominal(rate) > 0 else None
    return BatchPlan(
        how=how,
        feed=feed,
        limits=grown.limits,
        energy_g=grown.energy_g,
        yeast_range_g=grown.range_g,
        binding=grown.binding,
        estimate=found,
        fate=fate,
        liquid_L=volume,
        temperature_C=temperature_C,
        ethanol_stripped_g=stripped,
        water_carried_g=water_carried_out(through_L, temperature_C, dry_gas=without_air),
        ethanol_pct_vol=strength,
        gas_L=gas_L,
        oxygen_ceiling_mol=grown.ceiling_mol,
        respired_share=grown.respired,
        hours_to_respire=longest,
        nutrients=nutrients_for(feed, nominal(grown.energy_g[1])),
        pressure=pressure,
        if_closed=found.if_closed,
        remarks=(
            *_remarks(how, grown, strength, longest, hours, feed.hexose_g, _warming(fate, volume)),
            *said,
            *cautions_for("fermenting").sentences(),
        ),
    )


@dataclass(frozen=True)
class _Grown:
    """How much can grow and by what, and what that tells of the batch's basic amounts."""

    limits: YeastLimits
    energy_g: tuple[Any, Any]
    range_g: tuple[Any, Any]
    binding: tuple[str, ...]
    respired: Any
    ceiling_mol: Any
    oxygen_for_all_mol: Any
    better: Mapping[str, Any]


def _grow(feed: Feed, how: str, ceiling_mol: Any) -> _Grown:
    hexose_mol = feed.hexose_g / molar_mass("hexose")
    ash = yeast_ash()
    with_air = ufloat(*YEAST_WITH_AIR, Act("yeast with air", "how much yeast respiring gives"))
    most = {"without air": 0.0, "fed slowly": 1.0}.get(how)
    most = (
        rectangle(*RESPIRED_IN_EXCESS, Act("respired", "how much is respired in plenty of sugar"))
        if most is None
        else most
    )
    limits = yeast_limits(feed)
    starved = 1.0
    fermenting = (usual.YEAST.low, usual.YEAST.high)
    for _ in range(4):  # less yeast from the respired sugar means more oxygen for it: this settles in a few turns
        needed = _oxygen(hexose_mol, feed.hexose_g * with_air * starved, ash)
        respired = _smaller(most, ceiling_mol / needed)
        energy = [feed.hexose_g * (respired * with_air + (1.0 - respired) * end) for end in fermenting]
        ranges = {"energy": tuple(energy), **limits.known()}
        low, high = (min((pair[end] for pair in ranges.values()), key=nominal) for end in (0, 1))
        starved = nominal(low + high) / nominal(energy[0] + energy[1])
    where = ufloat(0.0, usual.FOR_INTERVALS, Act("yeast range", "where in its range the yeast ends"))
    yeast_g = (low + high) / 2.0 + (high - low) / 2.0 * where
    from_respiring = respired * with_air
    from_fermenting = (1.0 - respired) * usual.YEAST.middle
    without_air = yeast_g * from_fermenting / (from_respiring + from_fermenting)
    at_ceiling = nominal(respired) < nominal(most) or nominal(most) == 0.0
    better = {"yeast_yield": yeast_g / feed.hexose_g}
    if how != "without air":  # what is respired gives no acids and forces no glycerol; sugar left over takes no oxygen
        glycerol = usual.GLYCEROL[nitrogen_source_of(feed)].value()
        used_up = estimate(Recipe(feed), state="used up")
        left = used_up.amount("sugar_left") / used_up.amount("sugar_fed")
        share = 1.0 - nominal(left)
        respiring = _oxygen(hexose_mol * respired, yeast_g - without_air, ash) * share
        better |= {
            "left_share": left,
            "oxygen": _smaller(ceiling_mol, _oxygen(hexose_mol, yeast_g, ash) * share) if at_ceiling else respiring,
            "glycerol_per_yeast": glycerol * without_air / yeast_g if nominal(yeast_g) > 0 else glycerol,
            "acids_share": usual.ACIDS.value() * (1.0 - respired),
        }
    binding = tuple(name for name, pair in ranges.items() if nominal(pair[0]) <= nominal(high))
    longest = _oxygen(hexose_mol, feed.hexose_g * with_air, ash)
    return _Grown(limits, (energy[0], energy[1]), (low, high), binding, respired, ceiling_mol, longest, better)


def _oxygen(hexose_mol: Any, yeast_g: Any, ash: Any) -> Any:
    """Oxygen that respired hexose uses while yeast grows from it [mol]: a quarter of the electrons left."""
    cells = yeast_g * (1.0 - ash) / usual.YEAST_PER_CARBON.middle
    return (24.0 * hexose_mol - cells * usual.YEAST_ELECTRONS.middle) / 4.0


def _warming(fate: Fate, liquid_L: Any) -> Any:
    return fate.heat_kJ / (liquid_L * 1.03 * HEAT_CAPACITY)


def _smaller(a: Any, b: Any) -> Any:
    return a if nominal(a) <= nominal(b) else b


def _volume(feed: Feed, liquid_L: Any, vessel: Vessel | None) -> Any:
    if liquid_L is not None or vessel is not None:
        volume = liquid_L if liquid_L is not None else vessel.liquid_L  # type: ignore[union-attr]
        positive(nominal(volume), "liquid [L]")
        return volume
    solids = 1.0 - nominal(feed.water_g) / nominal(feed.mass_g)
    if solids > 0.5:
        raise InputError(
            f"a feed that is {100 * solids:.0f} % solids", "more water than solids, or the litres of liquid",
            "add the water to the feed, or give liquid_L",
        )  # fmt: skip
    return (
        feed.mass_g / sucrose_density(solids, 20.0) * ufloat(1.0, 0.01, Act("feed density", "the density of the feed"))
    )


def _oxygen_rate(how: str, rate: Any, kLa: Any, temperature_C: Any, barometer_bar: Any, said: list[str]) -> Any:
    if how == "without air":
        return 0.0
    if rate is not None:
        not_negative(nominal(rate), "oxygen transfer [mmol/(L h)]")
        return rate
    if kLa is None:
        said.append(f"No oxygen transfer was given: {span(*USUAL_KLA)} 1/h is taken (common practice, no source).")
    return oxygen_transfer(kLa, temperature_C=temperature_C, barometer_bar=barometer_bar)


def _air(air_L_per_min: Any, volume: Any, said: list[str]) -> Any:
    if air_L_per_min is not None:
        not_negative(nominal(air_L_per_min), "air [L/min]")
        return air_L_per_min
    said.append(f"No air flow was given: {span(*USUAL_AIR)} L per L and min is taken (common practice, no source).")
    return volume * rectangle(*USUAL_AIR, Act("usual air", "the air flow, not measured"))


def co2_held(liquid_L: Any, temperature_C: Any, barometer_bar: Any = STANDARD_ATMOSPHERE_BAR, pH: Any = None) -> Any:
    """CO2 that an open liquid under pure CO2 keeps [mol]; what is beyond it comes out as gas.

    Examples
    --------
    >>> print(co2_held(1.0, 25.0))
    0.0311+/-0.0009

    References
    ----------
    `properties.co2_solubility`, `properties.co2_vs_water`, `properties.bicarbonate_factor`.
    A fermenting liquid holds more (supersaturation).
    """
    dry_bar = barometer_bar - water_vapour_pressure(temperature_C)
    bicarbonate = 1.0 if pH is None else bicarbonate_factor(pH, temperature_C)
    return co2_solubility(temperature_C, dry_bar) * co2_vs_water() * bicarbonate * liquid_L


def _gas_out(co2_mol: Any, temperature_C: Any, barometer_bar: Any) -> Any:
    dry_bar = barometer_bar - water_vapour_pressure(temperature_C)
    out = co2_mol if nominal(co2_mol) > 0 else 0.0 * co2_mol
    return out * L_BAR_GAS_CONSTANT * (temperature_C + ZERO_CELSIUS_K) / dry_bar


def _pressure(how: str, vessel: Vessel | None, co2_mol: Any, said: list[str]) -> Any:
    if vessel is None or how != "without air":
        return None
    try:
        return vessel.pressure(co2_mol)
    except InputError as beyond:
        said.append(f"NEVER SEAL THIS: {beyond.met}.")
        return None


def _remarks(
    how: str, grown: _Grown, strength: Any, longest: Any, hours: Any, hexose_g: Any, warming_K: Any
) -> list[str]:
    words = ["The fermentable sugar is taken to be used up (2 ± 3 % left); a batch short of nitrogen can stick."]
    if set(grown.binding) - {"energy", "carbon", "electrons"}:
        names = " or ".join(name for name in grown.binding if name not in ("energy", "carbon", "electrons"))
        words.append(f"{names.capitalize()} can hold the yeast back: see the nutrients.")
    if nominal(strength) > 12:
        words.append("Above about 12 % vol baker's yeast slows and may stop (common practice, no source).")
    if how == "aerated":
        words.append(
            "With plenty of sugar yeast ferments even with air (Crabtree effect): more air changes little, feeding "
            "slowly does. When the sugar is gone, yeast with air goes on to respire ethanol; that is not counted."
        )
    if how == "fed slowly" and longest is not None:
        enough = nominal(longest) <= nominal(hours)
        words.append(
            f"This air respires all the sugar in {plus_minus(longest, 'h')}, so never more than "
            f"{plus_minus(hexose_g / longest, 'g/h')} of it (as hexose) should go in, and far less while the yeast is "
            "little: see the sugar fed in time; "
            + (
                "the hours given are enough."
                if enough
                else "in less time the rest ferments: feed longer, or aerate more."
            )
        )
    if nominal(warming_K) > 10:
        words.append(f"It must lose heat: kept in, it would warm the liquid by {plus_minus(warming_K, 'K')}.")
    return words
