"""What a recording may hold at most, whatever its format: looked at before anything is unfolded."""

from typing import Final

from halfsplit.errors import InputError

MOST_CHANNELS: Final = 1000
MOST_SAMPLES: Final = 2_000_000_000
MOST_BYTES: Final = 16_000_000_000
"""Bytes to which a file may unfold: a few kilobytes of zeros must not fill the disk."""

MOST_LINE: Final = 1 << 20
"""Characters of a line of text."""


def require_bounded(where: str, channels: int, samples: int, width: int = 8) -> None:
    """Raise `InputError` where a file says that it holds more; `width` bytes a sample."""
    if channels > MOST_CHANNELS:
        raise InputError(
            f"holds {channels:,} channels, at most {MOST_CHANNELS:,} are read",
            remedy="export the channels that are needed, one to a column",
            where=where,
        )
    if samples > MOST_SAMPLES or samples * width > MOST_BYTES:
        raise InputError(
            f"unfolds to {samples:,} samples ({samples * width / 1e9:.0f} GB), at most {MOST_SAMPLES:,} and "
            f"{MOST_BYTES / 1e9:.0f} GB are read",
            remedy="export a shorter stretch",
            where=where,
        )
