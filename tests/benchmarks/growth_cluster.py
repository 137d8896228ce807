"""The block function of `fit_growth_many` on a local Dask cluster: same table, put under it from outside.

Run as a script: ``python tests/benchmarks/growth_cluster.py``. Needs dask and distributed, which fermkit does not.
"""

import time

import joblib
import numpy as np

import fermkit as fk
from fermkit.growth.curves import gompertz


def main(m=8000):
    """Fit the same curves in this process and on two Dask workers, and compare."""
    from dask.distributed import Client

    rng, t = np.random.default_rng(0), np.linspace(0, 48, 100)
    table = np.stack([gompertz(t, a, 40, 6) for a in rng.uniform(300, 900, m)]) + 10 * rng.normal(size=(m, 100))
    began = time.perf_counter()
    here = fk.fit_growth_many(t, table)
    alone = time.perf_counter() - began
    with Client(n_workers=2, threads_per_worker=1, dashboard_address=None), joblib.parallel_config(backend="dask"):
        began = time.perf_counter()
        there = fk.fit_growth_many(t, table)
        shared = time.perf_counter() - began
    assert np.allclose(here.lag_h, there.lag_h) and (here.verdict == there.verdict).all()
    print(f"{m} curves: {alone:.2f} s here, {shared:.2f} s on two Dask workers (readings shipped); same table")


if __name__ == "__main__":
    main()
