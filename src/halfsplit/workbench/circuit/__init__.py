"""The circuit of a job: as text, and by taps."""
