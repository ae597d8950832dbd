"""Scope captures and what they show."""
