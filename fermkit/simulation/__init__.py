"""A batch with known truth, from mass balances and rates, and a kitchen that reads it with errors.

The files, each leaning on those before it: `batches`, `fermentation`, `recipe`, `kitchen`.
"""
