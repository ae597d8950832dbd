"""The plan of a job as a tree of tests."""
