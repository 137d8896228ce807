"""A run, analysed: every step joined, correlations kept to the yields.

The files, each leaning on those before it: `yields`, `steps`, `harvested`, `balanced`, `analysis`, `runs`.
"""
