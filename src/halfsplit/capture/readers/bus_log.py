"""Bus logs: frames that an adapter noted (ASC, BLF, TRC, candump, CSV), by the readers of python-can.

Each bus gives two channels, the busiest bus first: `CAN frames`, whose values are identifiers with the three flags of
Linux' SocketCAN above them (bit 31: 29 bits long, bit 30: remote, bit 29: error frame), and `CAN frame bytes`, the
length of each frame's data. Times count from the first frame.
"""

import io
import re
from array import array
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import IO, Any, Final

import numpy as np

from halfsplit.capture.channel import Channel, Progress, Recording
from halfsplit.errors import InputError

NAME: Final = "bus log"

FRAMES: Final = "CAN frames"
BYTES: Final = "CAN frame bytes"
EXTENDED: Final = 1 << 31
REMOTE: Final = 1 << 30
ERROR: Final = 1 << 29

MOST_FRAMES: Final = 20_000_000
_EVERY: Final = 50_000
"""Frames after which progress is told."""

Frame = tuple[float, int, int, str]
"""Time in seconds, identifier with its flags, bytes of data, name of the bus."""

_SCREEN_LINE: Final = (
    r"^\s*(?:\((?P<time>\d+\.\d+)\)\s+)?(?P<bus>v?s?l?can\S*)\s+(?:[RT]X\s+(?:\S\s+){0,2})?"
    r"(?P<id>[0-9A-Fa-f]{3,8})\s+\[(?P<length>\d{1,2})\]"
)
_SCREEN: Final = re.compile(_SCREEN_LINE)
_FORMS: Final = {
    "BLF": re.compile(rb"\ALOGG"),
    "CSV": re.compile(rb"^timestamp,arbitration_id,extended,remote,error,dlc,data", re.IGNORECASE),
    "candump": re.compile(rb"^\s*\(\d+\.\d+\)\s+\S+\s+[0-9A-Fa-f]{3,8}#", re.MULTILINE),
    "TRC": re.compile(rb"^;\$FILEVERSION=|^;-+[+-]+|^;\s+Message Number", re.MULTILINE),
    "ASC": re.compile(rb"^\s*(?:date\s.+|base\s+(?:hex|dec)\b.*timestamps)", re.MULTILINE | re.IGNORECASE),
    "screen": re.compile(_SCREEN_LINE.encode(), re.MULTILINE),
}


def sniff(head: bytes) -> bool:
    """The mark of a BLF file, or the first lines of the texts."""
    return _format(head) is not None


def _format(head: bytes) -> str | None:
    return next((name for name, pattern in _FORMS.items() if pattern.search(head[:4000])), None)


def read(path: Path, progress: Progress | None = None) -> Recording:
    """Read every frame; what is damaged ends the log there, with a note. Raises `InputError` where there is none."""
    with path.open("rb") as stream:
        form = _format(stream.read(4000)) or "candump"
    size = max(path.stat().st_size, 1)
    notes: list[str] = []
    buses: dict[str, tuple[array[float], array[int], array[int]]] = {}
    count = 0
    with path.open("rb") as stream:
        try:
            for time, code, length, bus in _OPENERS[form](stream):
                times, codes, lengths = buses.setdefault(bus, (array("d"), array("L"), array("H")))
                times.append(time)
                codes.append(code)
                lengths.append(length)
                count += 1
                if count > MOST_FRAMES:
                    notes.append(f"only the first {MOST_FRAMES:,} frames were read")
                    break
                if progress and count % _EVERY == 0:
                    progress(min(stream.tell() / size, 1.0))
        except Exception as error:  # noqa: BLE001 - python-can's readers end in anything from struct.error to KeyError
            notes.append(
                f"damaged after {count} frames ({type(error).__name__}: {str(error)[:100]}): read up to there"
            )
    if not count:
        raise InputError(
            f"a bus log ({form}) without a frame that can be read" + (f": {notes[0]}" if notes else ""),
            remedy="save the log again",
        )
    start = min(times[0] for times, _, _ in buses.values())
    ordered = sorted(buses, key=lambda bus: -len(buses[bus][0]))
    channels: list[Channel] = []
    for bus in ordered:
        channels += _channels(buses[bus], f" {bus}" if bus and len(buses) > 1 else "", start)
    return Recording(tuple(channels), path.name, (f"a bus log in the form {form}, {count} frames", *notes))


def _channels(columns: tuple[Any, Any, Any], named: str, start: float) -> Iterator[Channel]:
    times = np.frombuffer(columns[0], dtype=np.float64) - start
    order = np.argsort(times, kind="stable")
    for name, column, kind in ((FRAMES, columns[1], np.uint32), (BYTES, columns[2], np.uint16)):
        raw = np.array(column).astype(kind)[order]
        yield Channel(name + named, raw, times=np.ascontiguousarray(times[order]), edges=True)


@contextmanager
def _text(stream: IO[bytes]) -> Iterator[IO[str]]:
    """The stream as text, given back open: whoever opened the file closes it."""
    wrapper = io.TextIOWrapper(stream, encoding="utf-8", errors="replace", newline=None)
    try:
        yield wrapper
    finally:
        if not wrapper.closed:
            wrapper.detach()


def _by_library(name: str) -> Callable[[IO[bytes]], Iterator[Frame]]:
    def frames(stream: IO[bytes]) -> Iterator[Frame]:
        import can

        with nullcontext(stream) if name == "BLFReader" else _text(stream) as log:
            for message in getattr(can, name)(log):
                code = int(message.arbitration_id) & 0x1FFFFFFF
                if message.is_error_frame:
                    code = ERROR
                elif message.is_extended_id:
                    code |= EXTENDED
                if message.is_remote_frame:
                    code |= REMOTE
                bus = "" if message.channel is None else str(message.channel)
                yield float(message.timestamp), code, int(message.dlc), bus

    return frames


def _screen(stream: IO[bytes]) -> Iterator[Frame]:
    """What candump shows on the screen; without times, the number of the frame in thousandths."""
    with _text(stream) as text:
        for number, line in enumerate(text):
            if match := _SCREEN.match(line[:400]):
                code = int(match["id"], 16)
                flag = EXTENDED if len(match["id"]) > 3 else 0
                time = float(match["time"]) if match["time"] else number / 1000
                code = ERROR if code & ERROR and flag else code | flag
                yield time, code, int(match["length"]), match["bus"]


_OPENERS: Final[dict[str, Callable[[IO[bytes]], Iterator[Frame]]]] = {
    "ASC": _by_library("ASCReader"),
    "BLF": _by_library("BLFReader"),
    "CSV": _by_library("CSVReader"),
    "TRC": _by_library("TRCReader"),
    "candump": _by_library("CanutilsLogReader"),
    "screen": _screen,
}
