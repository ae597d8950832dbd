"""The list of jobs, and taking one in."""
