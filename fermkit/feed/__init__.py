"""What goes in: ingredients with their composition, and what a feed offers to the yeast.

The files, each leaning on those before it: `ingredients`, `feed`.
"""
