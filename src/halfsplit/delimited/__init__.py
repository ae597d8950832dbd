"""Delimited text, read in one way for captures, scan reports and drain logs: from its encoding to its rows."""
