"""A case log read by its headings and checked."""
