"""Growth curves: the curves, their fit, honest intervals, phases, forecast, many at once.

The files, each leaning on those before it: `curves`, `fitter`, `starts`, `confidence`, `weights`,
`residuals`, `many`, `phases`, `smoothing`, `fitted`, `fit`, `comparison`, `two_waves`.
"""
