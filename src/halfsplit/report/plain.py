"""From a view to the JSON that the templates read: texts cleaned, money and minutes in words, photos as file names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from halfsplit.report.pictures import photo_bytes
from halfsplit.report.view import Costs, JobView, PhotoView
from halfsplit.report.words import LONGEST, day, minutes, moment, money, printable
from halfsplit.store import Complaint, PartUsed, Vehicle
from halfsplit.units import plain_number


class Album:
    """The photos of one report, as files by name; each is read once."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.files: dict[str, bytes] = {}
        self._names: dict[bytes, str] = {}

    def add(self, photo: PhotoView) -> str:
        """The name of the photo's file; '' where it cannot be shown or the album is full."""
        if photo.data not in self._names:
            made = photo_bytes(photo.data) if len(self.files) < self.most else None
            self._names[photo.data] = f"photo-{len(self.files) + 1}.jpg" if made else ""
            if made:
                self.files[self._names[photo.data]] = made
        return self._names[photo.data]


def plain(value: Any, album: Album, longest: int = LONGEST) -> Any:
    """Any part of a view as JSON."""
    match value:
        case str():
            return printable(value, longest)
        case None | bool() | int() | float():
            return value
        case Decimal():
            return plain_number(value)
        case date():
            return moment(value) if isinstance(value, datetime) else day(value)
        case PhotoView():
            return {"file": album.add(value), "name": printable(value.name, 120)}
        case tuple() | list():
            return [plain(item, album, longest) for item in value]
        case Mapping():
            return {str(key): plain(item, album, longest) for key, item in value.items()}
    if not is_dataclass(value):
        raise TypeError(f"{type(value).__name__} cannot be printed")
    plain_fields = {
        field.name.rstrip("_"): plain(getattr(value, field.name), album, longest) for field in fields(value)
    }
    return plain_fields | _WORDS.get(type(value), lambda _: {})(value)


def _money_words(costs: Costs) -> dict[str, Any]:
    currency, tried = printable(costs.currency, 12), costs.used("on suspicion")
    return {
        "rate": money(costs.rate, currency),
        "minutes": minutes(costs.minutes) if costs.minutes else "",
        "work": money(costs.work, currency),
        "parts": money(costs.parts, currency),
        "total": money(costs.total, currency),
        "on_suspicion": money(costs.on_suspicion, currency) if tried else "",
        "on_suspicion_parts": [printable(part.name) for part in tried],
    }


HOW_OFTEN = {"intermittent": "now and then", "unknown": ""}
_WORDS: Mapping[type, Callable[[Any], dict[str, Any]]] = {
    Complaint: lambda complaint: {"how_often": HOW_OFTEN.get(complaint.how_often, "always")},
    Costs: _money_words,
    PartUsed: lambda part: {"price": money(part.price), "sum": money(part.price * part.quantity)},
    Vehicle: lambda vehicle: {"odometer": printable(vehicle.driven, 40)},
}
"""What is told in other words than a field by itself."""


def job_data(view: JobView, album: Album, longest: int = LONGEST) -> dict[str, Any]:
    """The whole view as JSON, minutes and amounts in words."""
    data: dict[str, Any] = plain(view, album, longest)
    for step in (*data["steps"], *data["work"]):
        step["minutes"] = minutes(step["minutes"])
    for limit, given in zip(data["limits"], view.limits, strict=True):
        limit["amount"] = money(given.amount, printable(view.money.currency, 12))
    return data
