"""Reads what people typed into a case log, without guessing, and checks it."""
