"""A workbook file, whatever is in it: read, written, edited, printed, saved. Nothing here knows of fish."""
