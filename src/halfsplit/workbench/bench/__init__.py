"""The bench: next test, suspects, drawing, evidence, proof."""
