"""Copies of a log brought together, and ids lent to another device."""
