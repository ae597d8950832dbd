"""Chromium, as the machine has it."""

import shutil
from functools import partial

from playwright.sync_api import Browser, Error, Playwright

CHROMIUM = shutil.which("chromium-headless-shell") or shutil.which("chromium")
"""The first is the same browser without the parts that only a person at a desk needs: a third of the processor time."""
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--in-process-gpu",
    "--js-flags=--single-threaded --no-opt",  # no page lives long enough to pay for optimised code
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


def launched(player: Playwright) -> Browser:
    """The machine's own Chromium; where it falls while it starts, as it does now and then, it is started once more."""
    launch = partial(player.chromium.launch, executable_path=CHROMIUM, args=FLAGS)
    try:
        return launch()
    except Error:
        return launch()
