"""From standards to a curve, from signals to ethanol, with everything that an analytical chemist asks of it.

The files, each leaning on those before it: `surroundings`, `response`, `standards`, `limits`, `linearity`,
`readback`, `calibrate`, `dilutions`, `drift`, `density`, `refractometer`, `turbidity`.
"""
