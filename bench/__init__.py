"""Measured speeds and ratios: one module a subject, each with `run()`.

`run()` returns a mapping. Every number in it, at the top or one level down, is a figure whose name
carries its unit. Two keys are special: `ratios` (over 1 = better than the rival, which was
measured in the same run) and `bars` (the least ratio asked for, by the same names). A ratio means
something on another machine; an absolute time does not. `python3 dev.py bench` prints one table.
"""
