"""The formulas: one module for each topic, or a folder of modules, plain functions of plain numbers.

Standard library only, so that the same files run inside a spreadsheet program's own Python. A function whose body
stays in the subset described in DEVELOPERS.md also has an exact equal as cell text.
"""
