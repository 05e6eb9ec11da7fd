"""What each spreadsheet host needs of the catalogue: cell text, names, an extension, user functions, a guide."""
