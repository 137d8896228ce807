"""Batches with a known truth, and a class that works on them."""
