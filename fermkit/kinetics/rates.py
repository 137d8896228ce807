"""How fast yeast takes up sugar, and what the sugar becomes: four structures over one set of quantities.

Every structure gives the uptake of hexose as a function of the sugar already used alone, r(s), times a factor of
time, a(t), that holds the waking of the yeast and the temperature. Yeast, ethanol, glycerol, acids and CO2 follow
from the sugar used, closed in carbon and electrons.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import wrightomega

from fermkit.matter import usual
from fermkit.matter.composition import compound, molar_mass

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Structure:
    """One way in which the rates may hang together; each word chooses a published equation (see `uptake`).

    Attributes
    ----------
    name : str
        In words.
    saturation : "Monod" or "Contois"
    inhibition : "Levenspiel" or "Luong"
    waking : "Baranyi" or "lognormal"
    nitrogen : "growth", "gradual", "uptake" or "activity"
        What stops as the usable nitrogen runs out: growth, at the end or all along; uptake as well; or growth, while
        the yeast then loses its activity hour by hour.
    """

    name: str
    saturation: str
    inhibition: str
    waking: str
    nitrogen: str


STRUCTURES: Final = (
    Structure("Monod, growth ends", "Monod", "Levenspiel", "Baranyi", "growth"),
    Structure("Contois, growth wanes", "Contois", "Luong", "lognormal", "gradual"),
    Structure("Monod, uptake ends", "Monod", "Luong", "lognormal", "uptake"),
    Structure("Contois, activity fades", "Contois", "Levenspiel", "Baranyi", "activity"),
)


@dataclass(frozen=True, slots=True)
class Quantity:
    """One quantity of the model: what it is in words, its unit, and what is usual.

    ``usual`` is the median and the standard deviation of the logarithm (0.1 is about 10 %).
    """

    name: str
    unit: str
    usual: tuple[float, float]
    source: str


def _across(of: usual.Usual) -> tuple[float, float]:
    """A lognormal law over a usual range: between the ends by ratio, `FOR_ALARMS` of half the range as its sd."""
    return float(np.sqrt(of.low * of.high)), float(usual.FOR_ALARMS * np.log(of.high / of.low) / 2)


_GLYCEROL: Final = usual.GLYCEROL["mixture"]

QUANTITIES: Final[Mapping[str, Quantity]] = {
    "sugar": Quantity("sugar at the start, as hexose", "g/L", (100.0, 0.5), "no usual value: from the recipe"),
    "inoculum": Quantity("dry yeast at the start", "g/L", (2.0, 0.8), "no usual value: from the recipe"),
    "growth rate": Quantity(
        "fastest specific growth rate", "1/h", (0.20, 0.5), "0.07–0.5 in 95 %: Warren et al. 1990 0.43; "
        "0.18 on molasses, PMC6723480; slower in the cold: common practice"
    ),
    "yield": Quantity("new dry yeast for each gram of hexose", "g/g", (0.075, 0.40), "0.05–0.12: common practice"),
    "lag": Quantity("mean time until the yeast is awake", "h", (2.5, 0.9), "common practice, no source"),
    "lag spread": Quantity("spread of waking over its mean", "-", (0.5, 0.5), "common practice, no source"),
    "half saturation": Quantity(
        "sugar at which uptake is half", "g/L", (1.5, 1.0), "0.25 (Warren et al. 1990) to 11.4 (PMC6723480)"
    ),
    "tail": Quantity("exponent of uptake as sugar ends", "-", (1.1, 0.3), "1 is Monod's; Moser 1958"),
    "ethanol limit": Quantity(
        "ethanol that stops uptake", "g/L", (92.0, 0.20), "Levenspiel 1980: 87.5; Warren et al. 1990: 101.6"
    ),
    "exponent": Quantity(
        "exponent of the inhibition", "-", (1.0, 0.6), "Levenspiel 1980: 0.41; Warren et al. 1990: 1.95"
    ),
    "nitrogen": Quantity("new dry yeast that the nitrogen allows", "g/L", (20.0, 1.0), "from the recipe"),
    "starving": Quantity("activity lost for each hour without nitrogen", "1/h", (0.02, 0.9), "common practice"),
    "glycerol": Quantity("glycerol for each gram of new dry yeast", "mmol/g", _across(_GLYCEROL), _GLYCEROL.source),
    "acids": Quantity("share of the carbon that ends as acids", "-", (0.012, 0.6), "0–3 %: common practice"),
    "degassing": Quantity("rate at which CO2 leaves the liquid", "1/h", (2.0, 0.8), "common practice, no source"),
    "store": Quantity("CO2 that the liquid holds, over that in balance at 1 bar", "-", (1.1, 0.3), "supersaturation"),
    "gas space": Quantity("gas space to be flushed, over the stated one", "-", (1.0, 0.15), "common practice"),
    "gas factor": Quantity("gas read for each mole that left", "-", (1.0, 0.05), "leak, meter: common practice"),
    "fading": Quantity("activity lost for each hour of work", "1/h", (0.005, 1.3), "common practice, no source"),
    "warmth": Quantity("power to which the effect of temperature is raised", "-", (1.0, 0.15), "common practice"),
    "late share": Quantity(
        "share of the sugar that goes last, at a pace of its own", "-", (0.35, 0.7), "fructose after glucose, "
        "Berthels et al., FEMS Yeast Res. 4 (2004) 683 (from memory), maltose after both, a room that cools; widths: "
        "judgement"
    ),
    "late pace": Quantity("pace of that share over that of the first", "-", (0.8, 0.4), "the same"),
}  # fmt: skip
"""Everything that a batch has to be told, or that the readings tell."""

NAMES: Final = tuple(QUANTITIES)
INDEX: Final = {name: i for i, name in enumerate(NAMES)}
HEXOSE: Final = molar_mass("hexose")
ETHANOL: Final = molar_mass("ethanol")
GLYCEROL: Final = molar_mass("glycerol")
CO2: Final = molar_mass("CO2")
YEAST_ASH: Final = usual.ASH.middle
"""Ash of dry yeast [g/g]."""

YEAST_CARBON: Final = (1 - YEAST_ASH) / compound("yeast").molar_mass
"""Carbon in a gram of dry yeast [mol/g]."""

YEAST_ELECTRONS: Final = compound("yeast").electrons
"""Degree of reduction of yeast, for each mole of its carbon."""

TYPICAL_YEAST: Final = 5.0
"""Yeast at which Contois' constant (per gram of yeast) equals Monod's half saturation [g/L]; a scale, not a claim."""

LARGEST_LOG: Final = 500.0
"""Beyond this a power would overflow; there is no sugar left then."""

CHANGE: Final = 8.0
"""How sharply the pace changes once the first sugar is gone: between nine tenths and one tenth lie two thirds of the
late share [-]; common practice, no source."""

STARVED: Final = 0.05
"""Share of the nitrogen left at which growth, or uptake, is about half [-]: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Products:
    """What has been made when the sugar `s` is used; each (B, n), with derivatives (B, n, p) by ln of each quantity."""

    yeast: Floats
    ethanol: Floats
    co2: Floats
    d_yeast: Floats | None = None
    d_ethanol: Floats | None = None
    d_co2: Floats | None = None
    by_sugar: tuple[Floats, Floats, Floats] | None = None


def new_yeast(structure: Structure, p: Any, s: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Yeast made once `s` is used [g/L], its slopes by ln yield and by ln nitrogen, and by s.

    With nitrogen in plenty Y s. Where growth wanes, dG/ds = Y n with n = 1 − G/G_most the share of nitrogen left, which
    gives G_most (1 − e^(−Ys/G_most)). Where growth ends, dG/ds = 1.05 Y n/(0.05 + n): n is Wright's ω function.
    """
    line = p["yield"] * s
    if structure.nitrogen == "uptake":
        return line, line, np.zeros_like(line), np.broadcast_to(p["yield"], s.shape)
    if structure.nitrogen == "gradual":
        share = left = np.exp(-line / p["nitrogen"])
    else:
        left = STARVED * wrightomega((1 - (1 + STARVED) * line / p["nitrogen"]) / STARVED - np.log(STARVED))
        share = (1 + STARVED) * left / (STARVED + left)
    made = p["nitrogen"] * (1 - left)
    return made, line * share, made - line * share, p["yield"] * share


def starved(p: Any, s: Floats, made: Floats) -> Floats:
    """Share of its activity that yeast without nitrogen has lost once `s` is used [-].

    Activity a that falls by δ a in an hour, while sugar falls by (µ/Y) X a, falls in a straight line against the sugar:
    da/ds = −δ Y/(µ X), for the sugar used without growth, s − G/Y, and the yeast grown, X = inoculum + G_most.
    """
    slope = p["starving"] * p["yield"] / p["growth rate"] / (p["inoculum"] + p["nitrogen"])
    return np.asarray(slope * np.maximum(s - made / p["yield"], 0.0))


def ethanol_slopes(p: Any) -> tuple[Any, Any]:
    """Ethanol for each gram of hexose, and what a gram of new yeast takes from it [g/g].

    Electrons: 24 for each hexose = 12 ethanol + 14 glycerol + 4 for each carbon of acid + those of the yeast.
    """
    for_sugar = 2 * ETHANOL / HEXOSE * (1 - p["acids"])
    for_yeast = (14 * p["glycerol"] / 1000 + YEAST_ELECTRONS * YEAST_CARBON) * ETHANOL / 12
    return for_sugar, for_yeast


def co2_slopes(p: Any) -> tuple[Any, Any]:
    """CO2 for each gram of hexose, and for each gram of new yeast [mol/g]: the carbon that is left over."""
    for_sugar = 2 / HEXOSE * (1 - p["acids"])
    glycerol = p["glycerol"] / 1000
    for_yeast = (14 * glycerol + YEAST_ELECTRONS * YEAST_CARBON) / 6 - 3 * glycerol - YEAST_CARBON
    return for_sugar, for_yeast


def products(structure: Structure, p: Any, s: Floats, *, slopes: bool = False) -> Products:
    """Yeast [g/L], ethanol [g/L] and CO2 [mol/L] once the sugar `s` [g/L] is used, and their slopes."""
    made, by_yield, by_nitrogen, by_s = new_yeast(structure, p, s)
    e_s, e_y = ethanol_slopes(p)
    c_s, c_y = co2_slopes(p)
    plain = Products(p["inoculum"] + made, e_s * s - e_y * made, c_s * s + c_y * made)
    if not slopes:
        return plain
    d_y = np.zeros((*s.shape, len(NAMES)))
    d_y[..., INDEX["yield"]], d_y[..., INDEX["nitrogen"]] = by_yield, by_nitrogen
    d_e, d_c = -e_y[..., None] * d_y, c_y[..., None] * d_y
    d_y[..., INDEX["inoculum"]] = p["inoculum"]
    share = p["acids"] / (1 - p["acids"])
    d_e[..., INDEX["acids"]], d_c[..., INDEX["acids"]] = -e_s * share * s, -c_s * share * s
    glycerol = p["glycerol"] / 1000
    d_e[..., INDEX["glycerol"]] = -14 / 12 * ETHANOL * glycerol * made
    d_c[..., INDEX["glycerol"]] = (14 / 6 - 3) * glycerol * made
    by_sugar = (by_s, e_s - e_y * by_s, c_s + c_y * by_s)
    return Products(plain.yeast, plain.ethanol, plain.co2, d_y, d_e, d_c, by_sugar)


def uptake(structure: Structure, p: Any, s: Floats, *, slopes: bool = False) -> tuple[Floats, Floats | None]:
    """Hexose taken up by awake yeast [g/(L h)] when `s` is used, and the slopes of its logarithm.

    Parameters
    ----------
    structure : Structure
    p : mapping of arrays of shape (B, 1)
        By the names of `QUANTITIES`.
    s : numpy.ndarray of shape (B, n)
        Hexose used [g/L].
    slopes : bool

    Returns
    -------
    (r, slopes) : arrays of shape (B, n) and (B, n, 22)
        The slopes are those of ln r by the logarithm of each quantity, at the same `s`.

    Notes
    -----
    r = (µ/Y) X · U · I · N · L with U = S^m/(K^m + S^m) (Monod, Moser) or the same with K X/5 for
    K (Contois); I = (1 − E/E_most)^n (Levenspiel)
    or 1 − (E/E_most)^n (Luong); N = 1 (growth ends or wanes), 1.05 n/(0.05 + n) with n the share of nitrogen left
    (uptake ends), or what `starved` leaves (activity fades); L = 1 − (1 − ρ)/(1 + (S/φS₀)^8), the pace ρ of the share φ
    that goes last.

    References
    ----------
    Monod, Annu. Rev. Microbiol. 3 (1949) 371. Moser, Carnegie Inst. Publ. 614 (1958) (from memory). Contois, J. Gen.
    Microbiol. 21 (1959) 40. Levenspiel, Biotechnol. Bioeng. 22 (1980) 1671. Luong, Biotechnol. Bioeng. 27 (1985) 280.
    Warren, Hill & Macdonald, Biotechnol. Prog. 6 (1990) 319.
    """
    made = products(structure, p, s, slopes=slopes)
    x, e = made.yeast, np.maximum(made.ethanol, 1e-9)
    sugar = np.maximum(p["sugar"] - s, 1e-300)
    half = p["half saturation"] * (x / TYPICAL_YEAST if structure.saturation == "Contois" else np.ones_like(s))
    # (K/S)^m: how far the sugar is from plenty
    log_short = np.minimum(p["tail"] * np.log(half / sugar), LARGEST_LOG)
    short = np.exp(log_short)
    full = e / p["ethanol limit"]
    n = p["exponent"]
    if structure.inhibition == "Levenspiel":
        room = np.maximum(1 - full, 1e-300)
        slowed = room**n
    else:
        power = full**n
        room = np.maximum(1 - power, 1e-300)
        slowed = room
    spent = p["yield"] * s / p["nitrogen"]
    if structure.nitrogen == "uptake":
        left = np.maximum(1 - spent, 1e-300)
        fed = (1 + STARVED) * left / (STARVED + left)
    elif structure.nitrogen == "activity":
        lost = starved(p, s, x - p["inoculum"])
        fed = np.maximum(1 - lost, 1e-300)
    else:
        fed = np.ones_like(s)
    late = 1 / (1 + np.exp(np.clip(CHANGE * np.log(sugar / (p["late share"] * p["sugar"])), -LARGEST_LOG, LARGEST_LOG)))
    pace = 1 - (1 - p["late pace"]) * late
    r = np.asarray(p["growth rate"] / p["yield"] * x / (1 + short) * slowed * fed * pace)
    if not slopes:
        return r, None
    out = np.zeros((*s.shape, len(NAMES)))
    by_x = 1 / x
    if structure.saturation == "Contois":
        by_x = by_x - p["tail"] / x * short / (1 + short)
    if structure.inhibition == "Levenspiel":
        by_e = -n / (p["ethanol limit"] * room)
        out[..., INDEX["exponent"]] = n * np.log(room)
    else:
        by_e = -n * power / (e * room)
        out[..., INDEX["exponent"]] = -power * n * np.log(full) / room
    assert made.d_yeast is not None and made.d_ethanol is not None
    out += by_x[..., None] * made.d_yeast + by_e[..., None] * made.d_ethanol
    out[..., INDEX["ethanol limit"]] = -by_e * e
    out[..., INDEX["half saturation"]] = -p["tail"] * short / (1 + short)
    out[..., INDEX["tail"]] = -log_short * short / (1 + short)
    out[..., INDEX["sugar"]] = p["sugar"] / sugar * p["tail"] * short / (1 + short)
    out[..., INDEX["late pace"]] = p["late pace"] * late / pace
    by_share = -CHANGE * (1 - p["late pace"]) * late * (1 - late) / pace
    out[..., INDEX["late share"]] = by_share
    out[..., INDEX["sugar"]] += by_share * (1 - p["sugar"] / sugar)
    out[..., INDEX["growth rate"]] = 1.0
    out[..., INDEX["yield"]] -= 1.0
    if structure.nitrogen == "uptake":
        by_spent = -STARVED / (left * (STARVED + left)) * spent
        out[..., INDEX["yield"]] += by_spent
        out[..., INDEX["nitrogen"]] -= by_spent
    elif structure.nitrogen == "activity":
        grown = x - p["inoculum"]
        by_slope = -lost / fed
        by_idle = by_slope / np.maximum(s - grown / p["yield"], 1e-12) / p["yield"]
        inoculum = p["inoculum"] / (p["inoculum"] + p["nitrogen"])
        out[..., INDEX["starving"]] = by_slope
        out[..., INDEX["growth rate"]] -= by_slope
        out[..., INDEX["inoculum"]] -= by_slope * inoculum
        out[..., INDEX["nitrogen"]] -= by_slope * (1 - inoculum) + by_idle * made.d_yeast[..., INDEX["nitrogen"]]
        out[..., INDEX["yield"]] += by_slope - by_idle * (made.d_yeast[..., INDEX["yield"]] - grown)
    return r, out


def most_used(structure: Structure, p: Any) -> Floats:
    """Hexose that can be used at all [g/L], (B, 1): until sugar, room for ethanol, or nitrogen is gone."""
    e_s, e_y = ethanol_slopes(p)
    s = p["ethanol limit"] / e_s
    for _ in range(8):  # Newton on E(s) = E_most, which is nearly straight
        made, _, _, by_s = new_yeast(structure, p, s)
        s = s - (e_s * s - e_y * made - p["ethanol limit"]) / (e_s - e_y * by_s)
    s = np.minimum(s, p["sugar"])
    if structure.nitrogen == "uptake":
        s = np.minimum(s, p["nitrogen"] / p["yield"])
    elif structure.nitrogen == "activity":
        slope = p["starving"] * p["yield"] / p["growth rate"] / (p["inoculum"] + p["nitrogen"])
        end = 1 / slope + p["nitrogen"] / p["yield"]  # all nitrogen used: G = G_most
        for _ in range(8):
            made, _, _, by_s = new_yeast(structure, p, end)
            end = end - (end - made / p["yield"] - 1 / slope) / np.maximum(1 - by_s / p["yield"], 1e-6)
        s = np.minimum(s, end)
    return np.asarray(s)


CARDINAL_C: Final = (2.8, 32.3, 45.4)
"""Least, best and highest temperature for the growth of S. cerevisiae [°C]: best and highest from Salvadó et al.,
Appl. Environ. Microbiol. 77 (2011) 2292; the least lies between the 1.3 and 4.3 °C that they found in the genus."""


def warmth(temperature_C: Any, cardinal_C: tuple[float, float, float] = CARDINAL_C) -> Floats:
    """Growth at a temperature, over that at the best one [-]: the cardinal temperature model with inflection.

    Parameters
    ----------
    temperature_C : array-like
        [°C].
    cardinal_C : (float, float, float)
        Least, best, highest [°C].

    Returns
    -------
    numpy.ndarray
        0 outside the least and the highest.

    Notes
    -----
    (T − T_max)(T − T_min)² / ((T_opt − T_min)[(T_opt − T_min)(T − T_opt) − (T_opt − T_max)(T_opt + T_min − 2T)])

    Examples
    --------
    >>> warmth([20.0, 32.3, 50.0]).round(2)
    array([0.6, 1. , 0. ])

    References
    ----------
    Rosso, Lobry & Flandrois, J. Theor. Biol. 162 (1993) 447; Rosso et al., Appl. Environ. Microbiol. 61 (1995) 610.
    """
    low, best, high = cardinal_C
    t = np.clip(np.asarray(temperature_C, dtype=float), low, high)
    below = (best - low) * ((best - low) * (t - best) - (best - high) * (best + low - 2 * t))
    return np.asarray(np.abs((t - high) * (t - low) ** 2 / below))
