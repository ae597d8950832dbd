"""Fault codes: reports, before and after, one cause for many, and live."""
