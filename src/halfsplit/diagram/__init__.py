"""A wiring diagram as a page: what is marked on it, what a reader proposes, and the circuit that follows."""
