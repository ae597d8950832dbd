"""The circuit notation: text ↔ model. The page for people is ``docs/notation.md``."""
