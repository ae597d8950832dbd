"""Chromium, as the machine has it."""

import shutil

from playwright.sync_api import Browser, Playwright

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
    """The machine's own Chromium."""
    return player.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
