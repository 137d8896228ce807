"""A run on disk and its way to the results."""
