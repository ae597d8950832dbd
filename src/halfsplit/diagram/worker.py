"""Files from outside are read in a process of its own, with bounds on time and memory.

What reads them is imported there, where it is needed: it takes half a second.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import resource
import threading
from collections.abc import Callable
from functools import lru_cache
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from halfsplit.diagram.marks import Marks, Page
from halfsplit.diagram.sheet import Box, Spot
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from PIL import Image

    from halfsplit.diagram import photo

SECONDS = 20.0
"""Nothing that is asked of the process may take longer."""
START_SECONDS = 180.0
"""The process itself may take so long to start on a busy machine."""
MEMORY = 3_000_000_000
"""Bytes of address space that the process may use."""


def pages_of(data: bytes) -> tuple[str, int]:
    """Kind of a file, and how many pages it has."""
    from halfsplit.diagram import files

    file = files.open_file(data)
    return file.kind, file.pages


def read_page(data: bytes, number: int, key: str, name: str) -> Marks:
    """What the reader proposes for a page of a PDF or SVG."""
    from halfsplit.diagram import files
    from halfsplit.diagram.read import proposal

    file = files.open_file(data)
    sheet = files.sheet_of(file, number)
    return proposal(sheet, Page(key, file.file_hash, number, sheet.width, sheet.height, "vector", name))


def picture(data: bytes, number: int, corners: tuple[Spot, ...]) -> bytes:
    """A page as PNG: a page of a PDF as it looks, a photo made straight (as it was taken: no corners)."""
    from halfsplit.diagram import files, pdf, photo

    file = files.open_file(data)
    if file.kind == "pdf":
        return pdf.picture_of(pdf.page_of(file.held, number))
    if not corners:
        return photo.png(photo.reduced(photo.opened(data)))
    return photo.png(_straight(data, corners)[0])


def size(data: bytes) -> tuple[int, int]:
    """Width and height of a photo in pixels, upright."""
    from halfsplit.diagram import photo

    shown = photo.opened(data)
    return shown.width, shown.height


def paper(data: bytes, corners: tuple[Spot, ...]) -> tuple[tuple[Spot, ...], float, float, tuple[float, ...]]:
    """Corners of the paper in a photo (found where none are given), size when straightened, homography."""
    from halfsplit.diagram import photo

    paper_corners = corners or photo.corners_of(photo.opened(data))
    flat, matrix = _straight(data, paper_corners)
    return paper_corners, float(flat.width), float(flat.height), matrix


def follow(
    data: bytes,
    corners: tuple[Spot, ...],
    start: Spot,
    stop: Spot,
    boxes: tuple[Box, ...],
    own: tuple[Box, ...],
) -> tuple[Spot, ...]:
    """The way of a wire between two taps on a straightened photo."""
    from halfsplit.diagram import photo

    return photo.followed(_grey(data, corners), start, stop, boxes, own)


@lru_cache(maxsize=1)
def _straight(data: bytes, corners: tuple[Spot, ...]) -> tuple[Image.Image, tuple[float, ...]]:
    """The photo that was asked for last: it is measured, shown and followed, and takes a second to make straight."""
    from halfsplit.diagram import photo

    return photo.straightened(photo.opened(data), corners)


@lru_cache(maxsize=1)
def _grey(data: bytes, corners: tuple[Spot, ...]) -> photo.Grey:
    from halfsplit.diagram import photo

    return photo.grey_of(_straight(data, corners)[0])


_REMEDY = {
    "page": "print it again, cut out the part that matters, or use a picture of it",
    "harness": "export it again, or the part of it that matters",
}


class Worker:
    """One process that does these one after another; it is started when it is needed and after it was stopped."""

    def __init__(self, seconds: float = SECONDS, what: str = "page") -> None:
        self.seconds, self.what = seconds, what
        self._lock = threading.Lock()
        self._process: Any = None
        self._pipe: Any = None

    def ask(self, what: Callable[..., Any], *arguments: Any) -> Any:
        """The answer of one of the functions above.

        Raises:
            InputError: what the function says of its input; or it took too long, or too much memory.
        """
        with self._lock:
            self._start()
            try:
                self._pipe.send((what, arguments))
                if not self._pipe.poll(self.seconds):
                    self.stop()
                    raise InputError(
                        f"the {self.what} takes longer than {self.seconds:.0f} s to read",
                        remedy=_REMEDY[self.what],
                    )
                answer, error = self._pipe.recv()
            except (EOFError, OSError):
                self.stop()
                raise InputError(
                    f"the {self.what} could not be read: it is damaged, or needs too much memory",
                    remedy=_REMEDY[self.what],
                ) from None
        if error is not None:
            raise error
        return answer

    def _start(self) -> None:
        if self._process is not None and self._process.is_alive():
            return
        context = multiprocessing.get_context("spawn")
        self._pipe, far = context.Pipe()
        self._process = context.Process(target=_serve, args=(far,), daemon=True)
        self._process.start()
        far.close()
        if not self._pipe.poll(START_SECONDS):
            self.stop()
            raise InputError("the reader did not start: the machine is too busy", remedy="try again")
        self._pipe.recv()

    def warm(self) -> None:
        """Starts the process beside everything else, so that the first page does not wait for it."""

        def start() -> None:
            with self._lock, contextlib.suppress(InputError, OSError, EOFError):
                self._start()

        threading.Thread(target=start, daemon=True).start()

    def stop(self) -> None:
        """Ends the process, whatever it does."""
        if self._process is not None:
            self._process.kill()
            self._process.join()
            self._pipe.close()
            self._process = None


def _serve(pipe: Connection) -> None:
    with contextlib.suppress(ValueError, OSError):
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    pipe.send("ready")
    while True:
        try:
            what, arguments = pipe.recv()
        except EOFError:
            return
        try:
            pipe.send((what(*arguments), None))
        except InputError as error:
            pipe.send((None, InputError(error.message, remedy=error.remedy, where=error.where)))
        except MemoryError:
            pipe.send((None, InputError("it needs too much memory", remedy="use a smaller part of it")))
        except Exception:  # noqa: BLE001 – whatever a strange file does to a library is told as such
            pipe.send((None, InputError("it could not be read", remedy="print or export it again")))
