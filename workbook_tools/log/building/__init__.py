"""A new case log or bench workbook, from its layout and rows."""
