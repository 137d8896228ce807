"""Growth curves: the curves, their fit, honest intervals, phases, forecast, many at once.

The files, each leaning on those before it: `curves`, `problem`, `least_squares`, `starts`, `confidence`, `weights`,
`verdicts`, `many`, `phases`, `smoothing`, `residuals`, `result`, `fit`, `comparison`, `yeast_counts`;
`cell_counts` leans on none.
"""
