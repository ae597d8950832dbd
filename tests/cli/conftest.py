"""A circuit so small that a whole fault finding takes a moment, and its files."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from typer.testing import CliRunner

from halfsplit.cli import app
from tests.sharing import shared

BENCH_LAMP = """\
title  Lamp on the test bench
battery G1  12 V 6 mohm
fuse F1 10 A
switch S1 off on
lamp H1 21 W "bench lamp"
ground E1
ground E2
G1.+ -- F1 -- S1 -- H1 -- E1
G1.- -- E2
state "off"
state "on"  S1 on
"""


@pytest.fixture(autouse=True, scope="package")
def _sharing() -> Iterator[None]:
    with shared():
        yield


@pytest.fixture
def circuit(tmp_path):
    path = tmp_path / "bench-lamp.circuit"
    path.write_text(BENCH_LAMP, encoding="utf-8")
    return path


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command: exit status, standard output, standard error."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))

    def invoke(*arguments, typed=None):
        result = CliRunner().invoke(app, [str(one) for one in arguments], input=typed)
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result.exit_code, result.stdout, result.stderr

    return invoke
