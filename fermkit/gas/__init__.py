"""Readings of any kind → cumulative mol CO2 with its three kinds of error.

The files, each leaning on those before it: `counters`, `vents`, `curve`, `collector`, `weighing`,
`headspace`, `room`, `dissolved`.
"""
