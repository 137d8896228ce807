"""A run on disk → `Run`: units converted once, oddities found and said.

The files, each leaning on those before it: `findings`, `run_layout`, `clock`, `columns`, `long_tables`,
`oddities`, `tables`, `ledger`, `settings`, `instruments`, `workbooks`, `writing`, `template`, `records`.
"""
