"""What the pages' forms hold: text, read leniently, told field by field where it cannot be used."""

from __future__ import annotations

import json
import math
from collections.abc import AsyncIterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Any, TypeVar

from fastapi import Request
from starlette.datastructures import UploadFile

from halfsplit.errors import InputError
from halfsplit.job import (
    INSTRUMENTS,
    BatteryReading,
    Complaint,
    Customer,
    EarlierWork,
    HowOften,
    Intake,
    JobSettings,
    Vehicle,
    read_money,
)
from halfsplit.units import plausible, read_field

Whole = TypeVar("Whole", int, None)
LONGEST_FIELD = 2_000
COMMA = str.maketrans(",\u2212", ".-")
"""A decimal comma, and the sign that phones give for a minus, as a number has them."""
MOST_VISITS = 12
"""Earlier visits that the form of an intake holds."""
HOW_OFTEN: dict[str, HowOften] = {"always": "always", "intermittent": "intermittent", "unknown": "unknown"}


async def fields(request: Request) -> dict[str, str]:
    """The text fields of a form; a name that comes twice keeps its last value."""
    return {name: value for name, value in (await request.form()).multi_items() if isinstance(value, str)}


async def files_of(request: Request) -> AsyncIterator[list[UploadFile]]:
    """The files of a form, the empty ones left out; they are closed when the request is over."""
    form = await request.form()
    try:
        yield [item for item in form.values() if isinstance(item, UploadFile) and item.filename]
    finally:
        await form.close()


def chosen(files: Sequence[UploadFile], what: str = "file", *, remedy: str, where: str = "") -> UploadFile:
    """The first of the files. Raises InputError where there is none."""
    if not files:
        raise InputError(f"no {what} was chosen", remedy=remedy, where=where)
    return files[0]


def content(files: Sequence[UploadFile], most: int) -> tuple[bytes, str]:
    """The bytes of the first file (one more than ``most`` where it is too large) and its name; b"" without a file."""
    return (files[0].file.read(most + 1), files[0].filename or "no file") if files else (b"", "no file")


def whole(text: str, otherwise: Whole) -> int | Whole:
    """A whole number of a form or an address; ``otherwise`` where it is none."""
    return int(text) if text.isascii() and text.isdigit() and len(text) < 8 else otherwise


def place_of(form: Mapping[str, str]) -> dict[str, Any]:
    """What is measured: one JSON field, or the single fields. Raises InputError."""
    if form.get("place"):
        try:
            place = json.loads(form["place"])
        except (ValueError, RecursionError):
            place = None
        if not isinstance(place, dict):
            raise InputError("the place is not JSON", remedy="load the page again", where="place")
        return place
    return {name: form.get(name) or None for name in ("quantity", "at", "to", "state", "instrument")}


@dataclass
class Reader:
    """Reads fields one by one and collects what cannot be used, so that all of it is told at once."""

    form: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    def text(self, name: str, longest: int = 200) -> str:
        value = self.form.get(name, "").strip()
        if len(value) > longest or "\x00" in value:
            self.problems[name] = f"At most {longest} characters."
        return value[:longest].replace("\x00", "")

    def lines(self, name: str, longest: int) -> str:
        """Text of several lines, the empty ones left out."""
        return "\n".join(line.strip() for line in self.text(name, longest).splitlines() if line.strip())

    def number(self, name: str, unit: str = "") -> float | None:
        """A number in the field's unit; None where it is empty or cannot be used."""
        typed = self.form.get(name, "").strip()
        if not typed:
            return None
        try:
            quantity = read_field(typed, unit) if unit else read_field(typed.replace(" ", ""), "V")
        except InputError as error:
            self.problems[name] = str(error)
            return None
        question = quantity.question or (plausible(quantity.value, unit) if unit else "")
        if question and self.form.get(f"{name}-sure") != "1":
            self.problems[name] = question
        return quantity.value

    def whole(self, name: str, largest: int) -> int | None:
        typed = (
            "".join(self.form.get(name, "").split()).replace(".", "").replace(",", "").replace("\u202f", "")
        )
        if not typed:
            return None
        if not (typed.isascii() and typed.isdigit()) or int(typed[:12]) > largest:
            self.problems[name] = f"A whole number up to {largest}."
            return None
        return int(typed)

    def between(self, name: str, low: float, high: float) -> float | None:
        """A plain number, a decimal comma included; None where the field is empty or cannot be used."""
        text = "".join(self.form.get(name, "").split()).translate(COMMA)
        try:
            number = float(text) if text else None
        except ValueError:
            number = math.nan
        if number is not None and not low <= number <= high:
            self.problems[name] = f"A number from {low:g} to {high:g}."
            return None
        return number

    def money(self, name: str) -> Decimal | None:
        typed = self.form.get(name, "").strip()
        try:
            return read_money(typed, "") if typed else None
        except InputError as error:
            self.problems[name] = str(error)
            return None

    def day(self, name: str) -> date | None:
        typed = self.form.get(name, "").strip()
        try:
            return date.fromisoformat(typed) if typed else None
        except ValueError:
            self.problems[name] = "A date such as 2026-03-02."
            return None


def read_intake(
    form: Mapping[str, str], before: Intake | None = None
) -> tuple[Intake, Customer, dict[str, str]]:
    """The intake and the customer of the form, and what cannot be used, by field. Everything may be left empty."""
    reader = Reader(form)
    often = form.get("how_often", "unknown")
    settings = before.settings if before else JobSettings()
    instruments = tuple(name for name in INSTRUMENTS if form.get(f"has-{name.replace(' ', '-')}") == "1")
    intake = Intake(
        complaint=Complaint(
            text=reader.text("complaint", LONGEST_FIELD),
            when=reader.text("when", LONGEST_FIELD),
            how_often=HOW_OFTEN.get(often, "unknown"),
        ),
        vehicle=_vehicle(reader),
        battery=_battery(reader),
        earlier_work=_earlier(reader),
        settings=JobSettings(
            instruments=instruments or settings.instruments,
            intermittent=often == "intermittent",
            seed=settings.seed,
            currency=reader.text("currency", 3).upper(),
            hourly_rate=reader.money("rate"),
        ),
    )
    customer = Customer(
        name=reader.text("customer"),
        phone=reader.text("phone"),
        email=reader.text("email"),
        address=reader.text("address", LONGEST_FIELD),
    )
    return intake, customer, reader.problems


def _vehicle(reader: Reader) -> Vehicle:
    return Vehicle(
        vin=reader.text("vin", 30).upper(),
        description=reader.text("vehicle"),
        registration=reader.text("registration", 20),
        odometer=reader.whole("odometer", 9_999_999),
        odometer_unit="mi" if reader.form.get("odometer_unit") == "mi" else "km",
    )


def _battery(reader: Reader) -> BatteryReading | None:
    volts = reader.number("battery", "V")
    celsius = reader.number("celsius")
    if volts is None:
        return None
    return BatteryReading(
        volts=volts,
        celsius=celsius,
        type=reader.text("battery_type", 20),
        rested=reader.form.get("rested") == "1",
    )


def _earlier(reader: Reader) -> tuple[EarlierWork, ...]:
    """What others have done, visit by visit; the fields of the second are named ``earlier-2`` and so on."""
    earlier = []
    for number in range(1, MOST_VISITS + 1):
        end = "" if number == 1 else f"-{number}"
        what = reader.text(f"earlier{end}", LONGEST_FIELD)
        touched = tuple(dict.fromkeys(reader.text(f"touched{end}", 400).replace(",", " ").split()))
        if what or touched:
            earlier.append(
                EarlierWork(
                    what=what,
                    on=reader.day(f"earlier_on{end}"),
                    by=reader.text(f"earlier_by{end}"),
                    touched=touched,
                    began_then=reader.form.get(f"began_then{end}") == "1",
                )
            )
    return tuple(earlier)
