"""Time, parts, limits and files of a job."""
