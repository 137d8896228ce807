"""Pressure in a closed vessel, and what a vent does not do.

The files, each leaning on those before it: `gas_space`, `pressures`, `container`.
"""
