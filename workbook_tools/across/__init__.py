"""Answers across visits, from a log that was read and computed."""
