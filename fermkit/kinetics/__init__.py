"""The batch in time: one model of rates, fitted to every reading at once.

The files, each leaning on those before it: `rates`, `course`, `feeding`, `series`, `fitting`, `ensemble`, `answers`,
`ahead`.
"""
