"""Edits of a person's workbook: what is not touched keeps its bytes."""
