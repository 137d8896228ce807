"""The warm hold, dry matter, drying, recovery, protein, washing, keeping.

The files, each leaning on those before it: `hold`, `dry_matter`, `drying`, `recovery`; `washing`, `autolysis`
and `cost` lean on none, `keeping` on `hold`.
"""
