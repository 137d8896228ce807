"""Where the sugar went: closure, reconciliation, and which mistake explains a gap.

The files, each leaning on those before it: `streams`, `byproducts`, `elements`, `redundancy`,
`reconciliation`, `evidence`, `faults`, `ranking`, `measurements`, `explanations`, `detection`, `bounds`,
`balance`.
"""
