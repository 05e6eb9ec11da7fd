"""What leaves the log: pages to take along, to print and to give away, made from its data."""
