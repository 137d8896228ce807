"""How often the 95 % interval of a read-back content holds the truth, and how wide it is.

Run:  python tests/benchmarks/calibration_coverage.py [simulations a case, default 4000] [case, default all]

Each case draws standards and one sample from a known curve with known scatter, fits, reads back and looks whether
the interval holds the true content (uniform over the middle 80 % of the standards' range). The yardstick of the
width is the interval of someone who knows the true curve's derivatives and the true scatter but has the same
standards to fit and the same few degrees of freedom: 2·t·u_true. Whether the interval holds the truth is asked of
its definition, misfit(truth) ≤ t²; on the first 400 draws the ends are worked out too, for the widths, and the two
answers are counted where they differ. The last column divides by 2·1.96·u_true instead,
the interval of someone who also knows the scatter: few degrees of freedom alone make that 1.4 for six standards.
"""

import sys
import time
from dataclasses import dataclass

import numpy as np

from fermkit.basis.errors import FermkitError
from fermkit.basis.statistics import effective_degrees_of_freedom, student
from fermkit.calibration.calibrate import fit_calibration
from fermkit.calibration.readback import fieller_misfit, profile_misfit
from fermkit.calibration.response import CURVES

SIX = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)
EIGHT = (0.5, 1.0, 2.0, 3.5, 5.0, 7.0, 9.0, 12.0)


@dataclass(frozen=True)
class Case:
    """A truth to draw from, and how it is fitted."""

    name: str
    curve: str
    truth: tuple[float, ...]
    levels: tuple[float, ...]
    repeats: int
    scatter: tuple[float, float]
    weights: str = "equal"
    u_standards: float = 0.0


CASES = (
    Case("line, 6 × 1", "line", (0.1, 0.3), SIX, 1, (0.05, 0.0)),
    Case("line, 6 × 3", "line", (0.1, 0.3), SIX, 3, (0.05, 0.0)),
    Case("line, proportional", "line", (0.3, 0.3), SIX, 3, (0.0, 0.05), "proportional"),
    Case("line, uncertain standards", "line", (0.1, 0.3), SIX, 3, (0.03, 0.0), "equal", 0.1),
    Case("quadratic, 6 × 3", "quadratic", (0.1, 0.4, -0.015), SIX, 3, (0.03, 0.0)),
    Case("power, 8 × 2", "power", (1.0, 0.6), EIGHT, 2, (0.05, 0.0)),
    Case("power with blank, 6 × 3", "power with blank", (0.05, 0.9, 0.62), SIX, 3, (0.02, 0.0)),
    Case("saturating, 6 × 3", "saturating", (0.1, 3.0, 5.0), SIX, 3, (0.02, 0.0)),
    Case("logistic4, 8 × 2", "logistic4", (0.1, 2.9, 5.0, 1.4), EIGHT, 2, (0.03, 0.0)),
)


def spread(case, signal):
    """True standard deviation of one reading."""
    return np.hypot(case.scatter[0], case.scatter[1] * signal)


def true_u(case, content, m, relative):
    """Standard uncertainty and degrees of freedom with true derivatives and true scatter."""
    curve, p = CURVES[case.curve], np.array(case.truth)
    x = np.repeat(case.levels, case.repeats)
    variances = spread(case, curve.signal(x, p)) ** 2
    total = np.diag(variances)
    same = x[:, None] == x[None, :]
    slope = curve.slope(x, p)
    if case.u_standards:  # a curve may stand upright at zero content
        total = total + same * np.outer(slope, slope) * case.u_standards**2
    design, inverse = curve.gradient(x, p), np.linalg.inv(total)
    covariance = np.linalg.inv(design.T @ inverse @ design)
    point = np.asarray(content)
    gradient, steep = curve.gradient(point, p), float(curve.slope(point, p))
    own = float(spread(case, curve.signal(point, p))) ** 2 / m
    scattered = (own + float(gradient @ covariance @ gradient)) / steep**2
    known = (content * relative) ** 2
    nu = effective_degrees_of_freedom([(scattered, x.size - p.size), (known, float("inf"))])
    return np.sqrt(scattered + known), nu


def study(case, m, relative, simulations, seed=1):
    """Coverage, refused share, and median width over both yardsticks."""
    rng = np.random.default_rng(seed)
    curve, p = CURVES[case.curve], np.array(case.truth)
    levels = np.array(case.levels)
    x = np.repeat(levels, case.repeats)
    held, widths, plain, refused, lower, upper, differ = 0, [], [], 0, 0, 0, 0
    low, high = levels.min(), levels.max()
    for done in range(simulations):
        content = rng.uniform(low + 0.1 * (high - low), high - 0.1 * (high - low))
        made = levels + case.u_standards * rng.standard_normal(levels.size)
        signal = curve.signal(np.maximum(np.repeat(made, case.repeats), 0.0), p)
        signal = signal + spread(case, signal) * rng.standard_normal(x.size)
        dilution = 10.0 * (1 + relative * rng.standard_normal()) if relative else 10.0
        seen = curve.signal(np.asarray(content), p)
        sample = seen + spread(case, seen) * rng.standard_normal(m)
        truth = content * dilution
        try:
            cal = fit_calibration(
                x, signal, curve=case.curve, weights=case.weights, u_standards=case.u_standards or None
            )
            reading = cal.read(sample, dilution=10.0, u_pipetting=relative, extrapolate=True)
            misfit = fieller_misfit(reading) if cal.fitted.curve.linear else profile_misfit(reading)
            inside = misfit(truth) <= student(reading.degrees_of_freedom) ** 2
            ends = reading.interval() if done < 400 else None
        except FermkitError:
            refused += 1
            continue
        held += inside
        if not inside:
            lower, upper = lower + (truth < reading.value.n), upper + (truth > reading.value.n)
        if ends is None:
            continue
        differ += inside != (ends[0] <= truth <= ends[1])
        u, nu = true_u(case, content, m, relative)
        widths.append((ends[1] - ends[0]) / (20.0 * student(nu) * u))
        plain.append((ends[1] - ends[0]) / (20.0 * student(float("inf")) * u))
    given = simulations - refused
    shares = (held / given, lower / given, upper / given)
    return *shares, refused, differ, float(np.median(widths)), float(np.median(plain))


def main(simulations, only=""):
    """Print the table."""
    print(
        f"{simulations} simulations a case; a coverage of 95 % has a standard error of "
        f"{100 * np.sqrt(0.95 * 0.05 / simulations):.2f} %"
    )
    print(
        f"{'case':28} {'m':>2} {'dilution':>8} {'covers':>8} {'below':>6} {'above':>6} {'refused':>7} {'differ':>6} "
        f"{'width/t':>8} {'width/z':>8} {'s':>6}"
    )
    for case in (case for case in CASES if only in case.name):
        for m in (1, 2, 3):
            for relative in (0.0, 0.02):
                start = time.perf_counter()
                covers, lower, upper, refused, differ, width, plain = study(case, m, relative, simulations)
                took = time.perf_counter() - start
                print(
                    f"{case.name:28} {m:2d} {relative:8.0%} {covers:8.1%} {lower:6.1%} {upper:6.1%} {refused:7d} "
                    f"{differ:6d} {width:8.3f} {plain:8.3f} {took:6.1f}",
                    flush=True,
                )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000, *sys.argv[2:3])
