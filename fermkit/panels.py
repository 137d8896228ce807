"""Panels of sliders over the library's functions: one a topic, all on the pattern of `panel`."""
