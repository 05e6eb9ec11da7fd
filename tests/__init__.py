"""Tests of the whole project; `python3 tests/run.py` prepares what they need and runs them."""
