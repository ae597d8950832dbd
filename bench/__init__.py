"""Benchmarks against outside programs; each prints a table of ratios. `python -m bench` lists them."""
