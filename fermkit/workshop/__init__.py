"""A class: data with known truth for each group, hand-outs, marking, what the class found together.

The files, each leaning on those before it: `repeatability`, `between_groups`, `cell_counts`, `sealing`,
`mishaps`, `answers`, `group_folder`, `handout`, `class_data`, `marking`, `pooling`, `workshop`.
"""
