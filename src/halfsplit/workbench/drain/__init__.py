"""The parasitic draw."""
