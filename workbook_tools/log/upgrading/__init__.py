"""A log brought to the layout of today, or put right where its formulas are broken."""
