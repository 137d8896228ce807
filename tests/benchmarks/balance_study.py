"""Does the balance find the mistake? Simulated fermentations, 15 mistakes and none, judged against the truth.

Run: ``python tests/benchmarks/balance_study.py [runs per mistake] [runs for the Bayes comparison] [grade]``.
Prints, for kitchen-grade and laboratory-grade measurements: false alarms on good runs, the power to
detect beside the non-central chi-square, how often the true explanation is in the first group, whether the
stated weights come true, how far the ranking is from the best possible one (Bayes' rule with the
simulation's own distributions, by brute force), and how many explanations a group holds.

A second table per grade ('other runs') shares no number with the method: mistakes are larger than the priors say,
yeast is spread evenly from 0.02 to 0.12 g per g sugar, glycerol from 4 to 13 mmol per g yeast, acids from 0 to 3 % of
the carbon: how much the stated probabilities lean on the priors.

The runs are invented: sugar of any amount, yeast, glycerol and acids as the method takes them for usual (cut at zero),
ethanol and CO2 from the two balances. Reported values carry relative normal errors, then the mistake.
"""

import sys
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import chi2, ncx2, truncnorm
from uncertainties import ufloat

from fermkit.balance.account import Balance
from fermkit.balance.faults import PRIOR_NOTHING_WRONG, usual_faults
from fermkit.balance.ranking import rank
from fermkit.balance.streams import USUAL_ASH
from fermkit.matter import usual
from fermkit.matter.composition import compound

GRADES = {"kitchen": (0.02, 0.05, 0.03, 0.08), "laboratory": (0.005, 0.02, 0.01, 0.04)}
GLYCEROL_USUAL, ACIDS_USUAL, YEAST_USUAL = (
    (it.middle, usual.FOR_ALARMS * it.half) for it in (usual.GLYCEROL["mixture"], usual.ACIDS, usual.YEAST)
)
STREAMS = ("glucose", "ethanol", "CO2", "yeast")
GLUCOSE, ETHANOL, CO2, GLYCEROL, YEAST, ACIDS = (
    compound(n) for n in ("glucose", "ethanol", "CO2", "glycerol", "yeast", "CH2O")
)


def balance(reported, grade):
    """The library's own balance of one run."""
    u = np.abs(reported) * GRADES[grade]
    return Balance({n: ufloat(v, e) for n, v, e in zip(STREAMS, reported, u)})


def template(grade):
    """Evidence and faults of one run, to be refilled for others."""
    evidence = balance(np.array([-100.0, 45.0, 43.8, 5.0]), grade)._evidence(with_yield=True)
    return evidence, usual_faults(evidence)


def refill(evidence, reported, grade):
    """The evidence of another run, without building a Balance (a test holds the two equal)."""
    sugar, ethanol, co2, yeast = reported
    r = GRADES[grade]
    k, uk = (v / 1000 * GLYCEROL.molar_mass for v in GLYCEROL_USUAL)
    a, ua = (v * 6 / GLUCOSE.molar_mass * ACIDS.molar_mass for v in ACIDS_USUAL)
    x = np.array([sugar, ethanol, co2, yeast, k * yeast, -a * sugar, 0.0])
    V = np.diag([(r[0] * sugar) ** 2, (r[1] * ethanol) ** 2, (r[2] * co2) ** 2, (r[3] * yeast) ** 2, 0, 0, 0])
    V[4, 4] = (k * r[3] * yeast) ** 2 + (uk * yeast) ** 2
    V[3, 4] = V[4, 3] = k * V[3, 3]
    V[3, 3] += (USUAL_ASH[1] / (1 - USUAL_ASH[0]) * yeast) ** 2
    V[5, 5] = (a * r[0] * sugar) ** 2 + (ua * sugar) ** 2
    V[0, 5] = V[5, 0] = -a * V[0, 0]
    V[6, 6] = (YEAST_USUAL[1] * sugar) ** 2
    return replace(evidence, x=x, V=V, carbon_in=-sugar / GLUCOSE.molar_mass * 6)


def true_runs(rng, n, extra_glycerol=0.0, extra_acids=0.0, other=False, yeast=None):
    """Sugar (1 g), ethanol, CO2, dry yeast of n faultless runs, per gram of sugar; extras are shares of its carbon."""
    y0, uy = YEAST_USUAL
    drawn_yeast = truncnorm.rvs((0.005 - y0) / uy, np.inf, loc=y0, scale=uy, size=n, random_state=rng)
    per_g, share = np.maximum(rng.normal(*GLYCEROL_USUAL, n), 0), np.maximum(rng.normal(*ACIDS_USUAL, n), 0)
    yeast = drawn_yeast if yeast is None else np.full(n, yeast)
    if other:
        yeast, per_g, share = rng.uniform(0.02, 0.12, n), rng.uniform(4, 13, n), rng.uniform(0, 0.03, n)
    organic = yeast * (1 - rng.normal(*USUAL_ASH, n)) / YEAST.molar_mass
    carbon = 6 / GLUCOSE.molar_mass
    glycerol = yeast * per_g / 1000 + extra_glycerol * carbon / 3
    acids = carbon * (share + extra_acids)
    electrons = 4 * carbon - YEAST.electrons * organic - GLYCEROL.electrons * glycerol - 4 * acids
    ethanol = electrons / ETHANOL.electrons
    co2 = carbon - organic - 3 * glycerol - acids - 2 * ethanol
    return np.column_stack([-np.ones(n), ethanol * ETHANOL.molar_mass, co2 * CO2.molar_mass, yeast])


def drawn(sizes, share):
    """The size below which a share of the mistakes lies."""
    if sizes.shape == "values":
        return np.array(sizes.values)[np.minimum((share * len(sizes.values)).astype(int), len(sizes.values) - 1)]
    if sizes.shape == "uniform":
        return sizes.low + share * (sizes.high - sizes.low)
    low, high = ndtr((np.array([sizes.low, sizes.high]) - sizes.centre) / sizes.spread)
    return sizes.centre + sizes.spread * ndtri(low + share * (high - low))


def faulty_runs(rng, n, fault, other=False):
    """What would be reported without chance errors when ``fault`` (None: nothing) was made."""
    if fault is None:
        return true_runs(rng, n, other=other)
    share = rng.random(n)
    if other:  # away from the small sizes: from the middle outwards for a misreading, upwards for the rest
        outwards = 0.5 + np.sign(share - 0.5) * np.sqrt(abs(share - 0.5) / 2)
        share = outwards if fault.family == "misread" else np.sqrt(share)
    size = drawn(fault.sizes, share)
    if fault.adds:
        extra = {"C3H8O3": "extra_glycerol", "CH2O": "extra_acids"}[fault.adds]
        return true_runs(rng, n, other=other, **{extra: size})
    runs = true_runs(rng, n, other=other)
    runs[:, list(fault.touches)] /= fault.factor(size)[:, None]
    return runs


def measured(rng, runs, grade):
    """Chance errors, and a sugar amount of 50 to 500 g."""
    scale = np.exp(rng.uniform(np.log(50), np.log(500), len(runs)))[:, None]
    return runs * scale * (1 + rng.standard_normal(runs.shape) * GRADES[grade]), runs * scale


@dataclass
class Outcome:
    """One simulated run."""

    truth: int
    alarm: bool
    power: float
    weights: np.ndarray
    groups: list
    reported: np.ndarray


def misfit(evidence):
    return evidence.misfit(evidence.n_balance)


def outcome(evidence, faults, truth, row, clean, grade):
    """Judge one run; ``clean`` is what would have been reported without chance errors."""
    limit, n = chi2.ppf(0.95, evidence.n_balance), evidence.n_balance
    here = refill(evidence, row, grade)
    alarm = misfit(here) > limit
    power = ncx2.sf(limit, n, max(misfit(refill(evidence, clean, grade)), 1e-12))
    found = rank(here, faults) if alarm else None
    return Outcome(truth, alarm, power, found.probabilities if alarm else None, found.groups if alarm else None, row)


def simulate(grade, n_each, n_good, seed=1, other=False):
    """Outcomes of n_each runs with each mistake and n_good without; sizes as the priors have them."""
    rng = np.random.default_rng(seed)
    evidence, faults = template(grade)
    outcomes = []
    for truth, fault in enumerate([*faults, None]):
        n = n_good if fault is None else n_each
        reported, clean = measured(rng, faulty_runs(rng, n, fault, other), grade)
        outcomes += [outcome(evidence, faults, truth, a, b, grade) for a, b in zip(reported, clean)]
    return [f.name for f in faults], outcomes


def simulate_strong(grade, n_each, seed=2, draws=4000, other=False):
    """Power on many runs with each mistake; and alarmed runs whose mistake is so large that four in five alarm.

    Returns
    -------
    (dict, list)
        For each mistake, share of alarms and its expectation; and up to n_each strong runs of each, judged.
    """
    rng = np.random.default_rng(seed)
    evidence, faults = template(grade)
    limit, n = chi2.ppf(0.95, evidence.n_balance), evidence.n_balance
    power, outcomes = {}, []
    for truth, fault in enumerate(faults):
        reported, clean = measured(rng, faulty_runs(rng, draws, fault, other), grade)
        alarms = [misfit(refill(evidence, row, grade)) > limit for row in reported]
        expected = [ncx2.sf(limit, n, max(misfit(refill(evidence, row, grade)), 1e-12)) for row in clean]
        power[truth] = np.mean(alarms), np.mean(expected)
        strong = [i for i, p in enumerate(expected) if p >= 0.8][:n_each]
        outcomes += [outcome(evidence, faults, truth, reported[i], clean[i], grade) for i in strong if alarms[i]]
    return power, outcomes


def bayes_weights(grade, reported, bank=200_000, seed=7):
    """Posterior weights by Bayes' rule with the simulation's own distributions: no approximation but sampling.

    For each mistake a bank of simulated runs (per gram of sugar); the unknown amount of sugar, of which all
    orders of magnitude are equally likely, is integrated in closed form.
    """
    rng = np.random.default_rng(seed)
    _, faults = template(grade)
    r = np.array(GRADES[grade])
    logs = np.empty((len(reported), len(faults) + 1))
    for k, fault in enumerate([*faults, None]):
        runs = faulty_runs(rng, bank, fault)
        inverse = 1 / np.abs(runs)
        log_scale = np.log(inverse).sum(axis=1)
        for i, row in enumerate(np.abs(reported)):
            t = inverse * row / r  # residuals are t w - 1/r, with w = 1 / (grams of sugar)
            a, b = (t**2).sum(1), (t / r).sum(1)
            centre, sd = b / a, 1 / np.sqrt(a)
            third = centre**3 + 3 * centre * sd**2  # mean of w**3 under the normal in w
            value = -0.5 * ((1 / r**2).sum() - b**2 / a) + np.log(sd * third) + log_scale
            top = value.max()
            logs[i, k] = top + np.log(np.exp(value - top).mean())
    prior = np.full(len(faults) + 1, (1 - PRIOR_NOTHING_WRONG) / len(faults))
    prior[-1] = PRIOR_NOTHING_WRONG
    logs += np.log(prior)
    weights = np.exp(logs - logs.max(axis=1, keepdims=True))
    return weights / weights.sum(axis=1, keepdims=True)


def natural_weight(outcomes, n_faults):
    """How much each simulated run counts, so that the mistakes come as often as their priors say."""
    truth = np.array([o.truth for o in outcomes])
    counts = np.bincount(truth, minlength=n_faults + 1)
    prior = np.full(n_faults + 1, (1 - PRIOR_NOTHING_WRONG) / n_faults)
    prior[-1] = PRIOR_NOTHING_WRONG
    return (prior / np.maximum(counts, 1))[truth]


def reliability(outcomes, n_faults, groups=False, bins=((0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.75, 0.85), (0.9, 1.01))):
    """For each bin of stated weight: mean stated, share right, number of statements."""
    rows = []
    for low, high in bins:
        stated, right, count = [], [], []
        for o, w in zip(outcomes, natural_weight(outcomes, n_faults)):
            if not o.alarm:
                continue
            if groups:
                claims = [(o.weights[list(g)].sum(), o.truth in g) for g in o.groups]
            else:
                claims = [(v, o.truth == i) for i, v in enumerate(o.weights)]
            for v, is_right in claims:
                if low <= v < high:
                    stated.append(v), right.append(is_right), count.append(w)
        if count:
            rows.append((low, high, np.average(stated, weights=count), np.average(right, weights=count), len(count)))
    return rows


def table(grade, names, outcomes, power_and_strong, oracle=0):
    """The study's table for one grade, as text."""
    power, strong = power_and_strong
    good = [o for o in outcomes if o.truth == len(names)]
    alarmed = [o for o in outcomes if o.alarm]
    out = [f"{grade}-grade: {len(outcomes)} runs, and {len(strong)} alarmed ones with power of 0.8 or more", ""]
    out += [f"false alarms on {len(good)} good runs: {np.mean([o.alarm for o in good]):.3f}", ""]
    out.append(f"{'':<54}{'all sizes':>16}{'where power >= 0.8':>34}")
    out.append(f"{'mistake':<54}{'alarms':>8}{'theory':>8}{'runs':>7}{'group 1st':>10}{'1st':>6}{'group size':>11}")
    for k, name in enumerate(names):
        seen = [o for o in strong if o.truth == k]
        line = f"{name:<54}{power[k][0]:>8.3f}{power[k][1]:>8.3f}{len(seen):>7}"
        if seen:
            first = np.mean([o.groups[0][0] == k for o in seen])
            size = np.median([len(o.groups[0]) for o in seen])
            line += f"{np.mean([k in o.groups[0] for o in seen]):>10.3f}{first:>6.2f}{size:>11.1f}"
        out.append(line)
    out += ["", f"median size of the first group, all alarms: {np.median([len(o.groups[0]) for o in alarmed]):.1f}"]
    for what in (False, True):
        out.append(f"stated weight of {'groups' if what else 'single explanations'}: stated, right, statements")
        out += [f"   {a:.2f}-{b:.2f}: {s:.3f} {r:.3f} {n}" for a, b, s, r, n in reliability(outcomes, len(names), what)]
    if oracle:
        out.append(compare_with_bayes(grade, alarmed, len(names), oracle))
    return "\n".join(out)


def compare_with_bayes(grade, alarmed, n_faults, n):
    """What our ranking gives up against the best possible one, judged by the exact posterior of each run."""
    some = [alarmed[i] for i in np.random.default_rng(3).choice(len(alarmed), min(n, len(alarmed)), replace=False)]
    exact = bayes_weights(grade, np.array([o.reported for o in some]))
    ours = np.array([o.weights.argmax() for o in some])
    truth, count = np.array([o.truth for o in some]), natural_weight(some, n_faults)
    given_up = np.average(exact.max(axis=1) - exact[np.arange(len(some)), ours], weights=count)
    hit = [np.average(choice == truth, weights=count) for choice in (ours, exact.argmax(axis=1))]
    return (
        f"against Bayes' rule by brute force, {len(some)} alarmed runs: the ranking gives up {given_up:.4f} of "
        f"being right (first explanation right: ours {hit[0]:.3f}, Bayes {hit[1]:.3f})"
    )


if __name__ == "__main__":
    n = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    oracle = int(sys.argv[2]) if len(sys.argv) > 2 else 200
    for grade in sys.argv[3:] or GRADES:
        print(table(grade, *simulate(grade, n, 10 * n), simulate_strong(grade, n), oracle=oracle), flush=True)
        other = simulate(grade, n // 3, 10 * n // 3, other=True)
        strong = simulate_strong(grade, n // 3, other=True)
        print("\nother runs, " + table(grade, *other, strong) + "\n", flush=True)
