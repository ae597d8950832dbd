"""Bus logs: frames that an adapter noted (ASC, BLF, TRC, candump, CSV), by the readers of python-can.

Each bus gives two channels, the busiest bus first: `CAN frames`, whose values are identifiers with the three flags of
Linux' SocketCAN above them (bit 31: 29 bits long, bit 30: remote, bit 29: error frame), and `CAN frame bytes`, the
length of each frame's data. Times count from the first frame.
"""

import io
import re
from array import array
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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

_CANDUMP: Final = re.compile(rb"^\s*\(\d+\.\d+\)\s+\S+\s+[0-9A-Fa-f]{3,8}#", re.MULTILINE)
_SCREEN_LINE: Final = (
    r"^\s*(?:\((?P<time>\d+\.\d+)\)\s+)?(?P<bus>v?s?l?can\S*)\s+(?:[RT]X\s+(?:\S\s+){0,2})?"
    r"(?P<id>[0-9A-Fa-f]{3,8})\s+\[(?P<length>\d{1,2})\]"
)
_SCREEN: Final = re.compile(_SCREEN_LINE)
_SCREEN_HEAD: Final = re.compile(_SCREEN_LINE.encode(), re.MULTILINE)
_ASC: Final = re.compile(rb"^\s*(?:date\s.+|base\s+(?:hex|dec)\b.*timestamps)", re.MULTILINE | re.IGNORECASE)
_TRC: Final = re.compile(rb"^;\$FILEVERSION=|^;-+[+-]+|^;\s+Message Number", re.MULTILINE)
_CSV: Final = re.compile(rb"^timestamp,arbitration_id,extended,remote,error,dlc,data", re.IGNORECASE)


def sniff(head: bytes) -> bool:
    """The mark of a BLF file, or the first lines of the texts."""
    return _format(head) is not None


def _format(head: bytes) -> str | None:
    if head.startswith(b"LOGG"):
        return "BLF"
    first = head[:4000]
    for name, pattern in (("CSV", _CSV), ("candump", _CANDUMP), ("TRC", _TRC), ("ASC", _ASC)):
        if pattern.search(first):
            return name
    return "screen" if _SCREEN_HEAD.search(first) else None


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
            where=path.name,
        )
    start = min(times[0] for times, _, _ in buses.values())
    ordered = sorted(buses, key=lambda bus: -len(buses[bus][0]))
    channels = [
        channel for bus in ordered for channel in _channels(buses[bus], bus if len(buses) > 1 else "", start)
    ]
    return Recording(tuple(channels), path.name, (f"a bus log in the form {form}, {count} frames", *notes))


def _channels(columns: tuple[Any, Any, Any], bus: str, start: float) -> Iterator[Channel]:
    times = np.frombuffer(columns[0], dtype=np.float64) - start
    order = np.argsort(times, kind="stable")
    named = f" {bus}" if bus else ""
    for name, column, kind in ((FRAMES, columns[1], np.uint32), (BYTES, columns[2], np.uint16)):
        raw = np.array(column).astype(kind)[order]
        yield Channel(f"{name}{named}", raw, times=np.ascontiguousarray(times[order]), edges=True)


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

        with _text(stream) as text:
            for message in getattr(can, name)(text):
                yield _frame(message)

    return frames


def _binary(stream: Any) -> Iterator[Frame]:
    import can

    for message in can.BLFReader(stream):
        yield _frame(message)


def _frame(message: Any) -> Frame:
    code = int(message.arbitration_id) & 0x1FFFFFFF
    if message.is_error_frame:
        code = ERROR
    elif message.is_extended_id:
        code |= EXTENDED
    if message.is_remote_frame:
        code |= REMOTE
    return (
        float(message.timestamp),
        code,
        int(message.dlc),
        "" if message.channel is None else str(message.channel),
    )


def _screen(stream: IO[bytes]) -> Iterator[Frame]:
    """What candump shows on the screen; without times, the number of the frame in thousandths."""
    with _text(stream) as text:
        for number, line in enumerate(text):
            match = _SCREEN.match(line[:400])
            if match:
                code = int(match["id"], 16)
                flag = EXTENDED if len(match["id"]) > 3 else 0
                time = float(match["time"]) if match["time"] else number / 1000
                yield (
                    time,
                    (ERROR if code & ERROR and flag else code | flag),
                    int(match["length"]),
                    match["bus"],
                )


_OPENERS: Final[dict[str, Callable[[Any], Iterator[Frame]]]] = {
    "ASC": _by_library("ASCReader"),
    "BLF": _binary,
    "CSV": _by_library("CSVReader"),
    "TRC": _by_library("TRCReader"),
    "candump": _by_library("CanutilsLogReader"),
    "screen": _screen,
}
