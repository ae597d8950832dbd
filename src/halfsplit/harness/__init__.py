"""Wiring harnesses from the open standards KBL and VEC → circuits in the notation. For people: ``docs/harness.md``."""
