"""Work for the processes of a cluster: it imports nothing of the program, so they start at once."""

import os
import signal
from pathlib import Path


def squared(piece):
    """The square of a number; whoever works on 13 first is killed over it."""
    number, mark = piece
    if number == 13 and not Path(mark).exists():
        Path(mark).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number * number
