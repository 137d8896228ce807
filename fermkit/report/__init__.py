"""An analysis in one HTML page, as JSON, as a workbook; notebooks and runs to take along.

The files, each leaning on those before it: `report`, `exports`, `kit`.
"""
