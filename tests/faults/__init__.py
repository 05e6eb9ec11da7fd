"""Faults put between the commands and the disk, and a power cut at every call that writes."""
