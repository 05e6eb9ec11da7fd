"""Builds workbooks: sheets, rules, formats, tables, print set-up, stored results; and puts files in place safely."""
