"""What each spreadsheet host needs, made from the catalogue: today the plain cell text of a function."""
