"""The case log: built, checked, merged, brought up to date; the card of a bath, the gate."""
