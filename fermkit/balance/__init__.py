"""Where the sugar went: closure, reconciliation, and which mistake explains a gap.

The files, each leaning on those before it: `streams`, `elements`, `redundancy`, `reconciliation`, `evidence`,
`faults`, `byproducts`, `ranking`, `measurements`, `explanations`, `detection`, `bounds`, `closure`, `account`.
"""
