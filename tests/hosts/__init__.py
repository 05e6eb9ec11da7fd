"""Tests of the functions in every host."""
