"""Signing in, accounts, the audit list and the workshop's settings."""
