"""The circuit: its model, its kinds of part, its faults and its solution."""
