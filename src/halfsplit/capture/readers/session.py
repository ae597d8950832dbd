"""Sessions of logic analysers (`.sr`): a zip archive of raw samples, and of an INI text that says what they are.

The text `metadata` names for each device the file of its samples (`capturefile`), their rate (`samplerate`), the bytes
of one sample (`unitsize`) and the probes, of which number 1 is the lowest bit. The samples lie in one member or in
numbered parts (`logic-1`, or `logic-1-1`, `logic-1-2` …). Analogue channels are members of their own with four-byte
numbers (`analog-1-5-1`).
"""

import configparser
import re
import zipfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

import numpy as np

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.errors import InputError

NAME: Final = "logic analyser session"
DAMAGED: Final = ("its samples cannot be unpacked", "save the session again")

MOST_CELLS: Final = 400_000_000
"""Samples times probes, a byte each."""

_FIRST: Final = (b"version", b"metadata", b"logic-1", b"analog-1")
_STEP: Final = 4_000_000
_SCALES: Final = {"": 1.0, "k": 1e3, "m": 1e6, "g": 1e9}


def sniff(head: bytes) -> bool:
    """A zip archive whose first member is one of a session."""
    return head.startswith(b"PK\x03\x04") and head[30:40].startswith(_FIRST)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every probe. Sizes are looked at first. Raises `InputError` where the archive or its text is damaged."""
    channels: list[Channel] = []
    with zipfile.ZipFile(path) as archive:
        text = configparser.ConfigParser(strict=False, interpolation=None)
        text.read_string(archive.read("metadata")[:1_000_000].decode("utf-8", "replace"))
        for device in (text[name] for name in text.sections() if "samplerate" in text[name]):
            said = device["samplerate"]
            match = re.fullmatch(r"\s*([\d.]+)\s*([kMmG]?)(?:Hz)?\s*", said, re.IGNORECASE)
            rate = float(match[1]) * _SCALES[match[2].lower()] if match else 0.0
            if not rate > 0:
                wrong = f"a sample rate of {said[:30]!r}"
                raise InputError(wrong, remedy="save the session again")
            channels += _logic(archive, device, rate, progress)
            for key, name in device.items():
                parts = _parts(archive, f"analog-1-{key[6:]}") if re.fullmatch(r"analog\d{1,3}", key) else []
                if sum(part.file_size for part in parts) > MOST_CELLS:
                    raise InputError(f"{name} holds too many samples", remedy="save a part")
                if parts:
                    data = b"".join(archive.read(part) for part in parts)
                    samples = np.frombuffer(data[: len(data) // 4 * 4], "<f4")
                    channels.append(Channel(name, samples, "V", rate=rate))
    return Recording(tuple(channels))


def _logic(
    archive: zipfile.ZipFile, device: Mapping[str, str], rate: float, progress: Progress | None
) -> Iterator[Channel]:
    named = {key.removeprefix("probe"): name for key, name in device.items() if key.startswith("probe")}
    probes = {int(key): name for key, name in named.items() if re.fullmatch(r"\d{1,3}", key)}
    parts = _parts(archive, device.get("capturefile", "logic-1"))
    width = int(device.get("unitsize", "1"))
    if not probes or not parts or not 1 <= width <= 64:
        return
    samples = sum(part.file_size for part in parts) // width
    if samples * len(probes) > MOST_CELLS:
        raise InputError(
            f"{samples:,} samples of {len(probes)} probes are too many",
            remedy=f"save fewer probes or a part: at most {MOST_CELLS:,} in all",
        )
    levels = {number: np.empty(samples, np.uint8) for number in probes if number <= 8 * width}
    place = 0
    for part in parts:
        with archive.open(part) as stream:
            while data := stream.read(_STEP * width):
                block = np.frombuffer(data[: len(data) // width * width], np.uint8).reshape(-1, width)
                for number, column in levels.items():
                    byte, bit = divmod(number - 1, 8)
                    column[place : place + len(block)] = block[:, byte] >> bit & 1
                place += len(block)
                if progress:
                    progress(place / max(samples, 1))
    for number, column in levels.items():
        yield Channel(probes[number], column[:place], rate=rate)


def _parts(archive: zipfile.ZipFile, name: str) -> list[zipfile.ZipInfo]:
    """The member of that name, or its numbered parts in their order."""
    numbered = re.compile(rf"{re.escape(name)}(?:-(\d{{1,9}}))?")
    parts = [(m, match) for m in archive.infolist() if (match := numbered.fullmatch(m.filename))]
    return [member for member, _ in sorted(parts, key=lambda part: int(part[1][1] or 0))]
