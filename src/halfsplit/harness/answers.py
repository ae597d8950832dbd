"""The table of what is plugged in: written for a person to edit, and read back."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping
from typing import Final

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.problems import did_you_mean
from halfsplit.errors import InputError
from halfsplit.harness.fits import FITS
from halfsplit.harness.proposals import OPEN, Plug, Plugged, proposal
from halfsplit.notation.amounts import LARGEST, parsed

COLUMNS: Final = ("connector", "words", "signals", "plugged in", "value", "why")
_LARGEST: Final = 2**20


def table(plugs: Iterable[Plug], chosen: Mapping[str, Plugged] | None = None) -> str:
    """CSV with a line for each connector; ``plugged in`` and ``value`` are there to be changed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    for plug in plugs:
        plugged = (chosen or {}).get(plug.name) or proposal(plug)
        signals = ", ".join(
            f"{cavity}: {signal}" if signal else cavity for cavity, signal in plug.signals.items()
        )
        writer.writerow((plug.name, plug.words, signals, plugged.kind, plugged.value, plugged.why))
    return out.getvalue()


def answers(text: str) -> dict[str, Plugged]:
    """Connector → what is plugged in, of an edited table. Raises InputError with the line that is wrong."""
    if len(text) > _LARGEST:
        raise InputError("the table is larger than 1 MB", remedy="leave out the lines that you do not change")
    head = text.lstrip("\ufeff").splitlines()[:1]
    delimiter = ";" if head and head[0].count(";") > head[0].count(",") else ","
    rows = csv.DictReader(io.StringIO(text.lstrip("\ufeff")), delimiter=delimiter)
    missing = {"connector", "plugged in"} - set(rows.fieldnames or ())
    if missing:
        raise InputError(
            f"the table has no column {min(missing)!r}", remedy=f"its first line names {', '.join(COLUMNS)}"
        )
    plugged = {}
    for number, row in enumerate(rows, 2):
        name, kind = (row.get("connector") or "").strip(), (row.get("plugged in") or "").strip()
        if name and kind:
            plugged[name] = checked_answer(kind, (row.get("value") or "").strip(), f"line {number}")
    return plugged


def answer(said: str) -> tuple[str, Plugged]:
    """``XA.H1.1=motor 5 A`` → the connector and what is plugged in. Raises InputError."""
    name, sign, what = said.partition("=")
    kind, _, value = what.strip().partition(" ")
    if not sign or not name.strip() or not kind:
        raise InputError(f"{said!r} does not say what is plugged in", remedy="write it like X5=motor 5 A")
    return name.strip(), checked_answer(kind, value.strip(), said)


def known(plugged: Mapping[str, Plugged], plugs: Iterable[Plug]) -> None:
    """Raises InputError for an answer to a connector that is not asked about."""
    names = [plug.name for plug in plugs]
    for name in plugged:
        if name not in names:
            raise InputError(
                f"there is no connector {name!r} in this part of the harness",
                remedy=did_you_mean(name, names) or "see the table of connectors",
            )


def checked_answer(kind: str, value: str, where: str) -> Plugged:
    """What is plugged in, where kind and value make sense. Raises InputError that names ``where``."""
    if kind not in FITS:
        raise InputError(
            f"{kind!r} is nothing that can be plugged in",
            remedy=f"write one of {', '.join(FITS)}",
            where=where,
        )
    units = KINDS[kind].units if kind in KINDS else ()
    if value and kind != "switch":
        match = re.fullmatch(r"[0-9.]+ ?[A-Za-zΩ%]*", value)
        try:
            amount, unit = parsed(value) if match else (0.0, "")
        except (ValueError, ArithmeticError, KeyError):
            amount, unit = 0.0, ""
        if not 0 < amount <= LARGEST or unit not in units:
            takes = f"a number with {' or '.join(units)}" if units else "no value"
            raise InputError(f"{value!r} is no value of a {kind}", remedy=f"it takes {takes}", where=where)
    elif value and not re.fullmatch(r"[A-Za-z0-9_]+( [A-Za-z0-9_]+)+", value):
        raise InputError(
            f"{value!r} are no positions", remedy="write at least two, such as off on", where=where
        )
    return Plugged(kind, "" if kind == OPEN else value)
