"""The warm hold, dry matter, drying, recovery, protein.

The files, each leaning on those before it: `hold`, `dry_matter`, `drying`, `recovery`.
"""
