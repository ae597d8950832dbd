"""What the help page knows."""

from dataclasses import dataclass


@dataclass(frozen=True)
class HelpPage:
    """Nothing of its own: it tells everybody the same."""
