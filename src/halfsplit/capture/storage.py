"""Captures kept on disk: columns as NumPy files that are mapped, not read, with their pyramids and the original.

    NAME/capture.json       channels with gain, offset, unit, time base; the original's name, size and SHA-256
    NAME/0.raw.npy          samples of channel 0: float32, or whole numbers as they were
    NAME/0.times.npy        its times in seconds (float64), where they are not even
    NAME/0.low.2.npy …      the extremes of each level of its pyramid
    NAME/original/FILE      the file as it came

A folder is made under another name and renamed when it is whole, so that a broken write leaves nothing behind.
"""

import hashlib
import json
import shutil
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from halfsplit.capture.capture import Capture
from halfsplit.capture.channel import Channel, Progress
from halfsplit.capture.paging import save_array
from halfsplit.capture.pyramid import Pyramid
from halfsplit.errors import InputError

FORMAT: Final = 1
_DESCRIBED: Final = ("name", "unit", "gain", "offset", "rate", "start", "edges")


def keep(path: str | Path, folder: str | Path, *, progress: Progress | None = None) -> Capture:
    """Read a recorded file and keep it in a new folder; returns the kept capture, its samples mapped from disk.

    Raises `InputError` where the file makes no sense or the folder is there already.
    """
    source = Path(path)
    return save(Capture.read(source, progress=progress), folder, original=source)


def save(capture: Capture, folder: str | Path, *, original: Path | None = None) -> Capture:
    """Write a capture into a new folder, with the original file beside it if there is one."""
    target = Path(folder)
    there = InputError(f"{target.name} is there already", remedy="choose another name")
    if target.exists():
        raise there
    target.parent.mkdir(parents=True, exist_ok=True)
    building = Path(tempfile.mkdtemp(prefix=".building-", dir=target.parent))
    try:
        described: dict[str, Any] = {
            "format": FORMAT,
            "source": capture.source,
            "notes": list(capture.notes),
            "channels": [_write(channel, i, building) for i, channel in enumerate(capture.channels)],
        }
        if original is not None:
            (building / "original").mkdir()
            copy = shutil.copyfile(original, building / "original" / original.name)
            described["original"] = {"name": copy.name, "size": copy.stat().st_size, "sha256": _digest(copy)}
        (building / "capture.json").write_text(json.dumps(described, indent=1), encoding="utf-8")
        try:
            building.rename(target)
        except OSError as error:  # somebody else was quicker
            if not (target / "capture.json").is_file():
                raise
            raise there from error
    except BaseException:
        shutil.rmtree(building, ignore_errors=True)
        raise
    return load(target)


def load(folder: str | Path) -> Capture:
    """A kept capture. Nothing is read before it is asked for; raises `InputError` where the folder is damaged."""
    place = Path(folder)
    try:
        described = json.loads((place / "capture.json").read_text(encoding="utf-8"))
        if described["format"] != FORMAT:
            other = f"is of format {described['format']}, this version reads {FORMAT}"
            raise InputError(other, where=place.name)
        channels = []
        for i, entry in enumerate(described["channels"]):
            levels = range(entry["levels"])
            channel = Channel(
                raw=_mapped(place / f"{i}.raw.npy"),
                times=_mapped(place / f"{i}.times.npy") if entry["uneven"] else None,
                kept_pyramid=Pyramid(
                    tuple(_mapped(place / f"{i}.low.{level}.npy") for level in levels),
                    tuple(_mapped(place / f"{i}.high.{level}.npy") for level in levels),
                ),
                **{name: entry[name] for name in _DESCRIBED},
            )
            channels.append(channel)
        return Capture(tuple(channels), described["source"], tuple(described["notes"]))
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"is no kept capture, or damaged ({error})", where=place.name) from error


def original(folder: str | Path) -> Path:
    """The original file of a kept capture, its hash checked; raises `InputError` where it was altered or is gone."""
    place = Path(folder)
    try:
        original = json.loads((place / "capture.json").read_text(encoding="utf-8"))["original"]
        file = place / "original" / Path(original["name"]).name
        digest = _digest(file)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise InputError(f"has no original file ({error})", where=place.name) from error
    if digest != original["sha256"]:
        raise InputError("its original file was altered: the hash differs", where=place.name)
    return file


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _write(channel: Channel, number: int, place: Path) -> dict[str, Any]:
    raw = channel.raw.astype(np.float32) if channel.raw.dtype == np.float64 else channel.raw
    save_array(place / f"{number}.raw.npy", raw)
    if channel.times is not None:
        save_array(place / f"{number}.times.npy", channel.times)
    levels = replace(channel, raw=raw).pyramid
    for level, (low, high) in enumerate(zip(levels.lows, levels.highs, strict=True)):
        np.save(place / f"{number}.low.{level}.npy", low)
        np.save(place / f"{number}.high.{level}.npy", high)
    described = {name: getattr(channel, name) for name in _DESCRIBED}
    return described | {"uneven": channel.times is not None, "levels": len(levels.lows)}


def _mapped(file: Path) -> NDArray[Any]:
    return np.asanyarray(np.load(file, mmap_mode="r", allow_pickle=False))
