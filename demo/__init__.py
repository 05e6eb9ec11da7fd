"""An invented practice, and what workbook-tools makes of it: run.py, pictures.py."""
