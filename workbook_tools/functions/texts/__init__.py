"""Formulas as spreadsheets read them: cell text, LET and LAMBDA text, and help in words."""
