"""Fits, tests and intervals beside R's own: nls, lm, glm, anova, p.adjust and the distributions."""

import math
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
from uncertainties import covariance_matrix, ufloat

import fermkit as fk
from fermkit.basis.groups import pooled
from fermkit.calibration.linearity import mandel_test

ROOT = Path(__file__).resolve().parents[2]
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(shutil.which("Rscript") is None, reason="Rscript is not installed (apt install r-base-core)"),
]

GAS_T = np.arange(0.0, 50.0, 2.0)
GAS_Y = [4, 14, 24, 37, 72, 122, 193, 266, 343, 399, 466, 501, 535, 553, 567, 581, 589, 590, 593, 599, 594, 592, 600,
         597, 592]  # fmt: skip
STEP_U = 2.0 + 0.05 * np.abs(np.diff(GAS_Y))
DRY_T = np.array([0, 1, 2, 3, 4, 6, 8, 10, 14.0])
DRY_W = [100.2, 76.3, 59.6, 48.4, 41.9, 34.4, 31.2, 30.4, 29.9]
STANDARD = np.repeat([0.0, 2.0, 4.0, 6.0, 8.0, 10.0], 2)
SIGNAL = [0.021, 0.017, 0.242, 0.251, 0.466, 0.472, 0.701, 0.684, 0.905, 0.921, 1.118, 1.131]
SIGNAL_U = 0.006 + 0.01 * np.array(SIGNAL)
SAMPLE = [0.588, 0.601, 0.596]
BENT_X = np.repeat([0.5, 1.0, 2.0, 4.0, 6.0, 9.0, 13.0, 18.0], 2)
BENT_S = [0.19, 0.21, 0.42, 0.40, 0.86, 0.84, 1.59, 1.62, 2.15, 2.13, 2.69, 2.73, 3.12, 3.10, 3.41, 3.38]
CLASS = {"1": [5.02, 5.06], "2": [4.93, 4.95, 4.90], "3": [5.11, 5.05], "4": [5.00, 4.94], "5": [5.21, 5.16, 5.19, 5.2],
         "6": [4.99, 5.04]}  # fmt: skip
EVEN_CLASS = {name: values[:2] for name, values in CLASS.items()}
GROUP_Y, GROUP_U = [4.1, 3.6, 5.0, 4.4, 4.9, 3.9], [0.2, 0.3, 0.2, 0.4, 0.25, 0.3]
CELLS = [4, 7, 2, 9, 5, 3, 8, 12, 4, 6, 5, 1, 7, 10, 3, 6]
CELL_FORMULA = "CH1.8O0.5N0.2"


def amounts():
    """Streams in mol that share a cause: the mash was weighed once, for the sugar and for the ethanol in it."""
    mash = ufloat(1.0, 0.008)
    return {
        "glucose": -ufloat(1.0, 0.01) * mash, "ethanol": ufloat(1.80, 0.02) * mash, "CO2": ufloat(1.84, 0.03),
        CELL_FORMULA: ufloat(0.24, 0.015), "glycerol": ufloat(0.085, 0.01),
    }  # fmt: skip


RULES = [[6, 2, 1, 1, 3], [24, 12, 0, 4.2, 14]]
"""Carbon atoms and available electrons of each stream, counted by hand (ammonia counts as zero)."""


def in_r_words(value):
    """A number, a list or a matrix as R reads it."""
    table = np.asarray(value, dtype=float)
    items = ", ".join(repr(float(v)) for v in table.ravel())
    return f"matrix(c({items}), nrow = {len(table)}, byrow = TRUE)" if table.ndim == 2 else f"c({items})"


@pytest.fixture(scope="module")
def analyses():
    """Three sample runs."""
    names = ("jar_3_closes", "jar_5_starved", "jar_7_leak")
    return [fk.analyse(fk.read_run(ROOT / "sample_data" / name)) for name in names]


@pytest.fixture(scope="module")
def r(analyses, tmp_path_factory):
    """All of R's answers, from one run of in_r.R, and a check against them."""
    streams = list(amounts().values())
    data = {
        "gas_t": GAS_T, "gas_y": GAS_Y, "step_u": STEP_U, "dry_t": DRY_T, "dry_w": DRY_W, "standard": STANDARD,
        "signal": SIGNAL, "signal_u": SIGNAL_U, "sample_signals": SAMPLE, "bent_x": BENT_X, "bent_s": BENT_S,
        "rules": RULES, "amount": [s.n for s in streams], "amount_V": covariance_matrix(streams),
        "class_value": [v for values in CLASS.values() for v in values],
        "class_group": [int(g) for g, values in CLASS.items() for _ in values],
        "even_sizes": [2] * len(CLASS), "group_y": GROUP_Y, "group_u": GROUP_U, "cells": CELLS,
        "p_values": [d.p_value for d in fk.compare_runs(analyses).differences],
    }  # fmt: skip
    told = tmp_path_factory.mktemp("r") / "data.R"
    told.write_text("".join(f"{name} <- {in_r_words(value)}\n" for name, value in data.items()), encoding="utf-8")
    script = Path(__file__).with_name("in_r.R")
    done = subprocess.run(
        ["Rscript", "--vanilla", str(script), str(told)], capture_output=True, text=True, timeout=120, check=False
    )
    assert done.returncode == 0, done.stderr
    return {name: float(value) for name, value in (line.split("\t") for line in done.stdout.splitlines())}


@pytest.fixture
def beside_r(r, published):
    """Hold a number to the one that R computed, within a relative tolerance."""

    def check(name, found, within, how):
        expected = r[name]
        published.check(
            f"R: {name}",
            found,
            expected,
            within * max(abs(expected), 1e-12),
            source=f"R, {how}",
            verification="computed",
        )

    return check


def growth_beside_r(beside_r, label, fit, how):
    """Best values and standard uncertainties of one fit, and its profile limits where R has them."""
    for name, key in (("asymptote", "A"), ("max_rate", "mu"), ("lag_h", "lag")):
        found = getattr(fit, name)
        if name == "lag_h":  # the published lag: where the tangent meets zero
            found = found - (fit.asymptote - fit.final_amount) / fit.max_rate
        beside_r(f"{label} {key}", found, 1e-7, how)
        beside_r(f"{label} u {key}", found.s, 1e-6, how)


@pytest.mark.parametrize("curve", ["gompertz", "logistic", "richards"])
def test_growth_fits_beside_nls(beside_r, curve):
    """The same optimum, scatter and standard errors as R's nls on one invented gas curve."""
    fit = fk.fit_growth(GAS_T, GAS_Y, curve=curve)
    growth_beside_r(beside_r, curve, fit, "nls")
    beside_r(f"{curve} sigma", fit.scatter, 1e-8, "nls")


@pytest.mark.parametrize("curve", ["gompertz", "logistic"])
def test_profile_limits_beside_refits_in_r(beside_r, curve):
    """Each 95 % limit is where R, refitting with that number held, finds the misfit risen by t²."""
    fit = fk.fit_growth(GAS_T, GAS_Y, curve=curve)
    for name, key in (("asymptote", "A"), ("max_rate", "mu")):
        for end, found in zip(("low", "high"), fit.interval(name)):
            beside_r(f"{curve} {end} {key}", found, 1e-8, "nls with one parameter held, uniroot")


def test_accumulating_noise_beside_nls_of_increments(beside_r):
    """A counter's curve with stated errors of its increments: R fits the increments, weighted."""
    fit = fk.fit_growth(GAS_T, GAS_Y, noise="accumulating", u=STEP_U)
    growth_beside_r(beside_r, "increments", fit, "weighted nls of the increments")
    for name, key in (("asymptote", "A"), ("max_rate", "mu")):
        for end, found in zip(("low", "high"), fit.interval(name)):
            beside_r(f"increments {end} {key}", found, 1e-8, "weighted nls with one parameter held, uniroot")


def test_weights_of_curves_beside_aic(beside_r):
    """Curves differ in AICc by as much as R's AIC with the small-sample term says."""
    found = fk.compare_curves(GAS_T, GAS_Y, curves=("gompertz", "logistic", "richards"))
    cost = {fit.curve: aicc for fit, aicc in zip(found.fits, found.aicc)}
    constant = len(GAS_T) * (1 + math.log(2 * math.pi))  # R counts it, and it cancels in every difference
    for curve, aicc in cost.items():
        beside_r(f"{curve} AICc", aicc + constant, 1e-9, "AIC of nls")


def test_drying_beside_nls(beside_r):
    """Page's curve through weighings: end, start, speed and shape."""
    curve = fk.drying_curve(DRY_T, DRY_W)
    for name, found in (("end", curve.end_g), ("first", curve.start_g), ("k", curve.k), ("m", curve.n)):
        beside_r(f"drying {name}", found, 1e-7, "nls")
    beside_r("drying u end", curve.end_g.s, 1e-6, "nls")


def test_calibration_line_and_its_inverse_beside_lm(beside_r):
    """Coefficients with their errors, and a sample read three times with the limits that R's band gives."""
    cal = fk.fit_calibration(STANDARD, SIGNAL)
    for name in ("intercept", "slope"):
        beside_r(f"line {name}", cal.parameters[name], 1e-9, "lm")
        beside_r(f"line u {name}", cal.parameters[name].s, 1e-9, "lm")
    beside_r("line scatter", cal.residual_sd, 1e-9, "lm")
    reading = cal.read(SAMPLE)
    beside_r("line read", reading.value, 1e-9, "lm")
    for end, found in zip(("low", "high"), reading.interval()):
        beside_r(f"line read {end}", found, 1e-8, "predict.lm turned round with uniroot")


def test_judgement_of_a_line_beside_r(beside_r):
    """Lack of fit, Mandel's bend, uneven scatter, studentised residuals and Cook's distances."""
    cal = fk.fit_calibration(STANDARD, SIGNAL)
    beside_r("lack of fit F", cal.lack_of_fit.statistic, 1e-8, "anova")
    beside_r("lack of fit p", cal.lack_of_fit.p, 1e-8, "anova")
    bend = mandel_test(STANDARD, SIGNAL)
    beside_r("mandel F", bend.statistic, 1e-8, "anova")
    beside_r("mandel p", bend.p, 1e-8, "anova")
    beside_r("even scatter", cal.even_scatter.statistic, 1e-8, "lm of the squared residuals")
    beside_r("even scatter p", cal.even_scatter.p, 1e-8, "lm of the squared residuals")
    for row, (apart, leads) in enumerate(zip(cal.outliers.studentised, cal.outliers.cook), start=1):
        beside_r(f"studentised {row}", apart, 1e-7, "rstudent")
        beside_r(f"cook {row}", leads, 1e-7, "cooks.distance")


def test_stated_scatter_beside_weighted_lm(beside_r):
    """A quadratic with stated errors of its signals: weighted lm, chi-square of the residuals."""
    cal = fk.fit_calibration(STANDARD, SIGNAL, curve="quadratic", u_signal=SIGNAL_U)
    for name in ("intercept", "slope", "bend"):
        beside_r(f"stated {name}", cal.parameters[name], 1e-7, "weighted lm")
        beside_r(f"stated u {name}", cal.parameters[name].s, 1e-7, "weighted lm")
    beside_r("stated chi2", cal.lack_of_fit.statistic, 1e-8, "weighted lm")
    beside_r("stated p", cal.lack_of_fit.p, 1e-8, "pchisq")


def test_four_parameter_curve_beside_nls(beside_r):
    """A sensor that saturates: the logistic of four parameters."""
    cal = fk.fit_calibration(BENT_X, BENT_S, curve="logistic4")
    blank, rise, middle, steep = cal.parameters.values()
    for name, found in zip(("bottom", "top", "middle", "steep"), (blank, blank + rise, middle, steep)):
        beside_r(f"four {name}", found, 1e-6, "nls")
        beside_r(f"four u {name}", found.s, 1e-6, "nls")


def test_reconciled_balance_beside_generalised_least_squares(beside_r):
    """Five streams, two of them correlated, two balances: amounts, their ±, chi-square and its probability."""
    found = fk.Balance(amounts(), unit="mol", priors="none").reconcile()
    for row, stream in enumerate(amounts(), start=1):
        beside_r(f"balance {row}", found[stream], 1e-8, "lm in the null space of the balances, whitened by chol")
        beside_r(f"balance u {row}", found[stream].s, 1e-7, "lm in the null space of the balances, whitened by chol")
    beside_r("balance chi2", found.chi2, 1e-7, "lm in the null space of the balances, whitened by chol")
    beside_r("balance p", found.p_value, 1e-7, "pchisq")


def test_class_precision_beside_anova(beside_r):
    """Repeatability and the spread between groups with unequal numbers; the critical values of both tests."""
    found = fk.precision(CLASS)
    beside_r("class within", found.repeatability_sd, 1e-9, "anova")
    beside_r("class between", found.between_sd, 1e-9, "anova")
    cochran, grubbs = fk.precision(EVEN_CLASS).apart[:2]
    for name, test in (("cochran", cochran), ("grubbs", grubbs)):
        beside_r(f"{name} 0.95", test.straggler, 1e-8, "qt and qf")
        beside_r(f"{name} 0.99", test.outlier, 1e-8, "qt and qf")


def test_pooled_groups_beside_restricted_likelihood(beside_r):
    """The variance between groups by R's optimize on the whole restricted likelihood; mean and limits by lm."""
    found = pooled(GROUP_Y, GROUP_U)
    beside_r("pooled tau", found.between_sd, 1e-5, "optimize of the restricted likelihood")
    beside_r("pooled mean", found.value, 1e-6, "weighted lm")
    beside_r("pooled u", found.value.s, 1e-6, "weighted lm")
    for end, limit in zip(("low", "high"), found.interval):
        beside_r(f"pooled {end}", limit, 1e-6, "confint of weighted lm")
    beside_r("pooled Q", found.heterogeneity, 1e-9, "weighted lm")
    beside_r("pooled p", found.p_value, 1e-9, "pchisq")


def test_counted_cells_beside_glm(beside_r):
    """Index of dispersion: the Pearson residuals of R's Poisson model, and the two-sided chance of it."""
    found = fk.counting_noise(CELLS)
    beside_r("cells dispersion", found.dispersion, 1e-9, "glm")
    beside_r("cells p", found.p_value, 1e-9, "pchisq")


def test_p_values_looked_at_together_beside_p_adjust(beside_r, analyses):
    """Every difference between three runs, adjusted for looking at all of them."""
    for row, one in enumerate(fk.compare_runs(analyses).differences, start=1):
        beside_r(f"holm {row}", one.adjusted_p, 1e-9, "p.adjust")
