"""Before the run: limits, nutrients, gas, pressure, heat, and what air or slow feeding would change.

The files, each leaning on those before it: `pathways`, `aeration`, `nutrients`, `batch_plan`, `ways`.
"""
