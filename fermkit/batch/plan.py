"""Before the run: how much yeast, alcohol, gas and heat a feed can give, and what more air or nutrient would change.

The amounts follow from carbon and electrons (`pathways`) once the yeast is set by what binds it (`feed`) or by its
energy, and the oxygen by what the air can bring.
"""

from dataclasses import dataclass
from typing import Any, Final

from uncertainties import ufloat

from fermkit.basis.budget import Act
from fermkit.basis.cautions import cautions_for
from fermkit.basis.checks import between, not_negative, one_of, positive
from fermkit.basis.constants import L_BAR_GAS_CONSTANT, STANDARD_ATMOSPHERE_BAR, ZERO_CELSIUS_K
from fermkit.basis.errors import InputError
from fermkit.basis.intervals import rectangle
from fermkit.basis.written import Line, Page, Written, nominal, plus_minus, uncertainty
from fermkit.batch.aeration import (
    USUAL_AIR,
    USUAL_KLA,
    ethanol_carried_out,
    oxygen_transfer,
    water_carried_out,
)
from fermkit.batch.closing import IfClosed, if_closed
from fermkit.batch.feeding import Feeding, feeding
from fermkit.batch.known import nitrogen_source_of
from fermkit.batch.nutrients import Nutrients, nutrients_for
from fermkit.batch.pathways import Fate, sugar_fate
from fermkit.matter import usual
from fermkit.matter.composition import compound, molar_mass
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

WITHOUT_AIR: Final = (usual.YEAST.low, usual.YEAST.high)
"""Dry yeast from sugar by fermenting, least and most [g/g hexose]: what is usual, as the estimate takes it."""

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
    fate : Fate
        Ethanol, CO2, glycerol, acids, oxygen, heat. Its yeast is the middle of the range ± half of it.
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
        rq = fate.respiratory_quotient
        ends = span(*self.yeast_range_g)
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
            Line("oxygen used", fate.oxygen_mol * 1000, "mmol", f"of {plus_minus(self.oxygen_ceiling_mol * 1000)}"),
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
    Oxygen at most: kLa c*, with c* in balance with moist air and none left in the liquid, for the hours given. Each
    respired hexose uses (24 − γ C_yeast)/4 oxygen. Closed: nothing is respired. Fed slowly: as much as the oxygen
    allows. Aerated with sugar in plenty: no more than 2 to 15 % (Crabtree). The yeast lies between the lowest
    of the least and the lowest of the most that energy, nitrogen, phosphorus, sulfur and electrons allow.

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
    ('energy', 'potassium') 7.4+/-6.3 5.77+/-0.98

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
    held = co2_held(volume, temperature_C, barometer_bar, pH)
    gas_L = _gas_out(grown.fate.co2_mol - held, temperature_C, barometer_bar) if how == "without air" else None
    through_L = gas_L if gas_L is not None else _air(air_L_per_min, volume, said) * 60.0 * hours
    stripped = ethanol_carried_out(grown.fate.ethanol_g, volume, through_L, temperature_C)
    strength = ethanol_pct_vol_from_concentration((grown.fate.ethanol_g - stripped) / volume)
    pressure = _pressure(how, vessel, grown.fate.co2_mol, said)
    made, u_made = nominal(grown.fate.co2_g), uncertainty(grown.fate.co2_g)
    longest = grown.oxygen_for_all_mol * 1000.0 / (rate * volume) if nominal(rate) > 0 else None
    return BatchPlan(
        how=how,
        feed=feed,
        limits=grown.limits,
        energy_g=grown.energy_g,
        yeast_range_g=grown.range_g,
        binding=grown.binding,
        fate=grown.fate,
        liquid_L=volume,
        temperature_C=temperature_C,
        ethanol_stripped_g=stripped,
        water_carried_g=water_carried_out(through_L, temperature_C, dry_gas=how == "without air"),
        ethanol_pct_vol=strength,
        gas_L=gas_L,
        oxygen_ceiling_mol=grown.ceiling_mol,
        respired_share=grown.respired,
        hours_to_respire=longest,
        nutrients=nutrients_for(feed, nominal(grown.energy_g[1])),
        pressure=pressure,
        if_closed=if_closed(vessel, made, made - 1.96 * u_made, made + 1.96 * u_made) if how == "without air" else None,
        remarks=(
            *_remarks(how, grown, strength, longest, hours, feed.hexose_g, _warming(grown.fate, volume)),
            *said,
            *cautions_for("fermenting").sentences(),
        ),
    )


@dataclass(frozen=True)
class _Grown:
    """What grows, and what that makes of the sugar."""

    limits: YeastLimits
    energy_g: tuple[Any, Any]
    range_g: tuple[Any, Any]
    binding: tuple[str, ...]
    respired: Any
    ceiling_mol: Any
    oxygen_for_all_mol: Any
    fate: Fate


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
    for _ in range(4):  # less yeast from the respired sugar means more oxygen for it: this settles in a few turns
        needed = _oxygen(hexose_mol, feed.hexose_g * with_air * starved, ash)
        respired = _smaller(most, ceiling_mol / needed)
        energy = [feed.hexose_g * (respired * with_air + (1.0 - respired) * end) for end in WITHOUT_AIR]
        ranges = {"energy": tuple(energy), **limits.known()}
        low, high = (min((pair[end] for pair in ranges.values()), key=nominal) for end in (0, 1))
        starved = nominal(low + high) / nominal(energy[0] + energy[1])
    where = ufloat(0.0, usual.FOR_INTERVALS, Act("yeast range", "where in its range the yeast ends"))
    yeast_g = (low + high) / 2.0 + (high - low) / 2.0 * where
    from_respiring = respired * with_air
    from_fermenting = (1.0 - respired) * usual.YEAST.middle
    without_air = yeast_g * from_fermenting / (from_respiring + from_fermenting)
    at_ceiling = nominal(respired) < nominal(most) or nominal(most) == 0.0
    used = ceiling_mol if at_ceiling else _oxygen(hexose_mol * respired, yeast_g - without_air, ash)
    acids = usual.ACIDS.value() * (1.0 - respired)
    glycerol = usual.GLYCEROL[nitrogen_source_of(feed)].value()
    fate = sugar_fate(
        hexose_mol, yeast_g, used,
        yeast_without_air_g=without_air, glycerol_mmol_per_g=glycerol, acids_share=acids, ash=ash,
    )  # fmt: skip
    binding = tuple(name for name, pair in ranges.items() if nominal(pair[0]) <= nominal(high))
    longest = _oxygen(hexose_mol, feed.hexose_g * with_air, ash)
    return _Grown(limits, (energy[0], energy[1]), (low, high), binding, respired, ceiling_mol, longest, fate)


def _oxygen(hexose_mol: Any, yeast_g: Any, ash: Any) -> Any:
    """Oxygen that respired hexose uses while yeast grows from it [mol]: a quarter of the electrons left."""
    cells = compound("yeast")
    return (24.0 * hexose_mol - yeast_g * (1.0 - ash) / cells.molar_mass * cells.electrons) / 4.0


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
    words = ["All fermentable sugar is taken to be used; a batch short of nitrogen can stick."]
    if how == "without air":
        words.append("The oxygen of the air shut in, which helps the yeast a little, is not counted.")
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
