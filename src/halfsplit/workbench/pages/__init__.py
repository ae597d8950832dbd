"""The pages, one module for what belongs together."""
