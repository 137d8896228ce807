"""The warm hold, dry matter, drying, recovery, protein, washing, keeping.

The files, each leaning on those before it: `hold`, `dry_matter`, `drying`, `recovery`; `washing` and `autolysis`
lean on none, `keeping` on `hold`.
"""
