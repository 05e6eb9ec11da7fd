"""The parts of a new workbook: cells, looks, pictures and the package around them."""
