"""Practice: a vehicle with a hidden fault that answers measurements."""
