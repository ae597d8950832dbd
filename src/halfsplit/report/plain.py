"""From a view to the JSON that the templates read: texts cleaned, money and minutes in words, photos as file names."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from halfsplit.report.pictures import photo_bytes
from halfsplit.report.view import JobView, MoneyView, PartView, PhotoView
from halfsplit.report.words import LONGEST, minutes, money, number, printable


class Album:
    """The photos of one report, as files by name; each is read once."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.files: dict[str, bytes] = {}
        self._names: dict[bytes, str] = {}

    def add(self, photo: PhotoView) -> str:
        """The name of the photo's file; '' where it cannot be shown or the album is full."""
        if photo.data not in self._names:
            made = photo_bytes(photo) if len(self.files) < self.most else None
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
            return number(value)
        case datetime():
            return value.isoformat()
        case PhotoView():
            words = {"name": printable(value.name, 120), "caption": printable(value.caption, 300)}
            return {"file": album.add(value), **words}
        case tuple() | list():
            return [plain(item, album, longest) for item in value]
        case Mapping():
            return {str(key): plain(item, album, longest) for key, item in value.items()}
    if not is_dataclass(value):
        raise TypeError(f"{type(value).__name__} cannot be printed")
    plain_fields = {
        field.name.rstrip("_"): plain(getattr(value, field.name), album, longest) for field in fields(value)
    }
    return plain_fields | _SUMS.get(type(value), lambda _: {})(value)


def _money_words(view: MoneyView) -> dict[str, str]:
    currency = _currency(view)
    return {
        "rate": money(view.rate, currency),
        "minutes": minutes(view.minutes) if view.minutes else "",
        "work": money(view.work, currency),
        "parts": money(view.parts, currency),
        "total": money(view.total, currency),
        "on_suspicion": money(view.on_suspicion, currency),
    }


def _currency(view: MoneyView) -> str:
    return printable(view.currency, 12)


def _part_words(view: PartView) -> dict[str, str]:
    return {"price": money(view.price), "sum": money(view.price * view.quantity)}


_SUMS: Mapping[type, Callable[[Any], dict[str, str]]] = {
    MoneyView: _money_words,
    PartView: _part_words,
}
"""What is told in other words than a field by itself."""


def job_data(view: JobView, album: Album, longest: int = LONGEST) -> dict[str, Any]:
    """The whole view as JSON, minutes and amounts in words."""
    data: dict[str, Any] = plain(view, album, longest)
    for step in (*data["steps"], *data["work"]):
        step["minutes"] = minutes(step["minutes"])
    for limit, given in zip(data["limits"], view.limits, strict=True):
        limit["amount"] = money(given.amount, _currency(view.money))
    return data
