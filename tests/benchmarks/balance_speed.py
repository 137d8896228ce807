"""A hundred thousand Monte-Carlo draws through a reconciliation: one matrix product against a loop of least squares.

Run: ``OPENBLAS_NUM_THREADS=1 python tests/benchmarks/balance_speed.py``. Rounds are interleaved in one process; the
ratio printed is the median of the rounds. Both ways get the same draws and must agree to rounding.
"""

import sys
import time

import numpy as np
from scipy import linalg
from uncertainties import ufloat

from fermkit.balance.account import Balance

DRAWS = 100_000
ROUNDS = 5


def example():
    """A laboratory-grade run with two usual by-products."""
    return Balance(
        {"glucose": -ufloat(100, 0.5), "ethanol": ufloat(45.6, 0.9), "CO2": ufloat(44.7, 0.45), "yeast": ufloat(5, 0.2)}
    )


def draw(x, root, seed, draws):
    """Reported amounts as chance would have them."""
    draws = np.random.default_rng(seed).standard_normal((draws, len(x))) @ root.T
    draws += x
    return draws


def one_by_one(bal, draws, x, V):
    """Weighted least squares in the space where the balances close, a call for each draw."""
    free = linalg.null_space(bal._redundancy.R)
    weight = linalg.inv(linalg.cholesky(V, lower=True))
    design = weight @ free
    out = np.empty_like(draws)
    for i, row in enumerate(draws):
        out[i] = free @ np.linalg.lstsq(design, weight @ row, rcond=None)[0]
    return out


def timed(work):
    start = time.perf_counter()
    result = work()
    return time.perf_counter() - start, result


def main(size=DRAWS):
    bal = example()
    x, V = bal._numbers
    root = linalg.cholesky(V, lower=True)
    bal.reconcile_many(x[None, :])
    rows = []
    for seed in range(ROUNDS):
        together, fast = timed(lambda seed=seed: bal.reconcile_many(draw(x, root, seed, size)))
        loop, slow = timed(lambda seed=seed: one_by_one(bal, draw(x, root, seed, size), x, V))
        assert np.allclose(fast, slow, rtol=1e-8, atol=1e-9), np.abs(fast - slow).max()
        rows.append((together, loop))
    together, loop = np.median(rows, axis=0)
    ratio = np.median([slow / fast for fast, slow in rows])
    print(f"{size} draws of {len(x)} amounts, drawing included (median of {ROUNDS} rounds)")
    print(f"   loop of least-squares calls   {loop * 1e3:9.1f} ms")
    print(f"   all at once, same draws       {together * 1e3:9.1f} ms   {ratio:6.0f} times as fast, same answer")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
