"""Tests of the formulas, a file for each topic."""
