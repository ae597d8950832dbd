"""Benchmarks against outside programs; each prints a table of ratios. `python -m bench` lists them."""

import halfsplit as halfsplit  # before any other library: it tells the linear algebra how many threads to use
