"""The report as it will be printed."""
