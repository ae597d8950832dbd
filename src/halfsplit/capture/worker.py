"""A recorded file is unfolded in a process of its own: it has bounded memory, a low priority, and can be stopped.

`python -m halfsplit.capture.worker FILE FOLDER NAME` reads the file, saves its columns into the folder and writes lines
of JSON: `{"share": 0.25}` while it reads, at last `{}`, or `{"message": …, "remedy": …, "where": …}` where it refuses.
"""

import contextlib
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from halfsplit.capture.capture import Capture
from halfsplit.capture.storage import save
from halfsplit.errors import HalfsplitError, InputError

MOST_MEMORY: Final = 1_000_000_000
"""Bytes that reading may take, beside the columns that lie in files."""

SMALL: Final = 1_000_000
"""Bytes up to which a text is read at once: starting a process would take longer."""

_NICE: Final = 10
_EVERY: Final = 0.2
"""Seconds between two lines of progress."""

_TOO_MUCH: Final = {
    "message": "takes more memory to read than a recording may",
    "remedy": "export fewer channels or a shorter stretch",
}

Watch = Callable[[float], bool]
"""Told the share that is done; False stops the reading."""


def unfold(path: Path, folder: Path, name: str, watch: Watch | None = None) -> None:
    """Read a file and save its columns in `folder`, in another process unless it is a short text.

    Raises `InputError` as the reader does, and where it takes too much memory or is stopped.
    """
    with path.open("rb") as file:
        plain = b"\0" not in file.read(65_536)  # what is packed may unfold to more than its size
    if plain and path.stat().st_size <= SMALL:
        save(replace(Capture.read(path), source=name), folder)
        return
    command = [sys.executable, "-m", "halfsplit.capture.worker", str(path), str(folder), name]
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
    last: dict[str, Any] = {"share": 0.0}
    with subprocess.Popen(  # noqa: S603 (our own interpreter and module)
        command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=environment, text=True
    ) as process:
        try:
            for line in process.stdout or ():
                last = json.loads(line)
                if watch is not None and not watch(float(last.get("share", 1.0))):
                    raise InputError("reading was stopped; nothing was kept", where=path.name)
        finally:
            process.kill()
    if "share" in last:
        last = _TOO_MUCH | {"where": path.name}
    if "message" in last:
        raise InputError(last["message"], remedy=last["remedy"], where=last["where"])


def remaining(begun: float, share: float, now: float) -> float | None:
    """Seconds until a reading that began at `begun` is done, from the share that is; None while it cannot be said."""
    return (now - begun) * (1.0 - share) / share if share > 0.02 else None


def _say(answer: Mapping[str, Any]) -> None:
    sys.stdout.write(json.dumps(answer) + "\n")
    sys.stdout.flush()


def _answers(path: Path, folder: Path, name: str) -> None:
    """Read and save, with lines of progress; the last line is empty, or says why the file is refused."""
    with contextlib.suppress(ImportError, OSError, ValueError):
        import resource

        resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY, MOST_MEMORY))
    with contextlib.suppress(AttributeError, OSError):
        os.nice(_NICE)
    last = 0.0

    def tell(share: float) -> None:
        nonlocal last
        if time.monotonic() - last > _EVERY:
            last = time.monotonic()
            _say({"share": round(share, 4)})

    answer: dict[str, Any] = {}
    try:
        save(replace(Capture.read(path, progress=tell), source=name), folder)
    except InputError as error:
        answer = {"message": error.message, "remedy": error.remedy, "where": error.where}
    except HalfsplitError as error:  # a library that is not installed
        answer = {"message": str(error), "remedy": "", "where": ""}
    except MemoryError:
        answer = _TOO_MUCH | {"where": path.name}
    _say(answer)


if __name__ == "__main__":
    _answers(Path(sys.argv[1]), Path(sys.argv[2]), sys.argv[3])
