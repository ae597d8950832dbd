"""Currents and times as people say them."""

from __future__ import annotations


def amps_words(amps: float) -> str:
    """A current with the figures that matter.

    >>> amps_words(0.0221), amps_words(1.234), amps_words(-0.0004)
    ('22.1 mA', '1.23 A', '-0.4 mA')
    """
    return f"{1000 * amps:.1f} mA" if abs(amps) < 1 else f"{amps:.2f} A"


def time_words(seconds: float) -> str:
    """A time.

    >>> time_words(42), time_words(600), time_words(9000)
    ('42 s', '10 min', '2.5 h')
    """
    if seconds < 120:
        return f"{seconds:.0f} s"
    return f"{seconds / 60:.0f} min" if seconds < 7200 else f"{seconds / 3600:.1f} h"
