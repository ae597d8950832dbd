"""What the help page knows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass


@dataclass(frozen=True)
class HelpPage:
    """``keys``: place → (key, what it does). ``pages``: (page, what comes of it)."""

    keys: Mapping[str, tuple[tuple[str, str], ...]]
    pages: tuple[tuple[str, str], ...]
