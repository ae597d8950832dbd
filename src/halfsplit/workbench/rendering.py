"""Templates: one environment, filters that format, and `render`. Templates format, they do not calculate."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape

from halfsplit.job import reporting
from halfsplit.job.kinds import state_word

HERE: Final = Path(__file__).parent
STATIC: Final = HERE / "static"
STYLES: Final = {path.stem: path for path in HERE.glob("*/*.css")}
"""Bay → its styles, which lie in its folder."""


@lru_cache
def environment() -> Environment:
    """The templates, each named by its bay and file; escaping is on and every undefined name an error."""
    made = Environment(
        loader=FileSystemLoader(HERE),
        autoescape=select_autoescape(default=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters |= {
        "percent": percent,
        "minutes": minutes,
        "clock": clock,
        "day": day,
        "date": reporting.day,
        "moment": reporting.moment,
        "money": money_words,
        "json": as_json,
        "bar": bar,
        "worth": worth,
        "load_word": state_word,
        "wired": wired,
        "capital": capital,
        "audited": audited,
        "duration": duration,
    }
    made.globals |= {"asset": asset, "styles": styles}
    return made


def asset(name: str) -> str:
    """Address of a static file, with its time of change, so that a new version is fetched at once."""
    return f"/static/{name}?{_changed(STATIC / name)}"


def styles(bay: str) -> str:
    """Address of the styles of a bay, with their time of change."""
    return f"/static/styles/{bay}.css?{_changed(STYLES[bay])}"


def _changed(path: Path) -> str:
    return f"{int(path.stat().st_mtime) if path.exists() else 0:x}"


def render(
    request: Request, template: str, page: Any, *, status: int = 200, headers: Mapping[str, str] | None = None
) -> HTMLResponse:
    """A page (or fragment) from its context, whose fields are the names that the template knows."""
    names = {field.name: getattr(page, field.name) for field in fields(page)}
    person = getattr(request.state, "person", None)
    text = (
        environment()
        .get_template(template)
        .render(**names, page=page, person=person, path=request.url.path, accounts=request.app.state.accounts)
    )
    return HTMLResponse(text, status, dict(headers or {}))


def percent(share: float) -> str:
    """A probability for people: whole per cent, never 0 or 100 for what is not certain.

    >>> [percent(share).replace(chr(0xA0), " ") for share in (0.584, 0.0004, 0.9991)]
    ['58 %', '< 1 %', '> 99 %']
    """
    whole = round(100 * share)
    return "<\u00a01\u00a0%" if whole < 1 else ">\u00a099\u00a0%" if whole > 99 else f"{whole}\u00a0%"


AUDITED: Final[Mapping[str, str]] = {
    "job": "job opened",
    "intake": "intake saved",
    "circuit": "circuit saved",
    "evidence": "entry recorded",
    "state": "state of the job changed",
    "customer": "customer changed",
    "closing": "job closed",
    "step": "time entered",
    "part": "part entered",
    "authorisation": "limit authorised",
    "attachment": "file added",
    "shown": "result stored as shown",
}
"""What the store notes of a change → as the audit list tells it; whatever else stands as it is noted."""


def duration(seconds: float) -> str:
    """How long a recording is, in three digits and the unit that a person would use.

    >>> duration(0.0184), duration(3.2994), duration(754), duration(28_800)
    ('18.4 ms', '3.3 s', '12.6 min', '8 h')
    """
    for factor, unit in ((1.0, "h"), (60.0, "min"), (3600.0, "s")):
        if seconds * factor >= 3600.0 * (3.0 if unit == "min" else 1.0) or unit == "s":
            break
    shown = seconds * factor / 3600.0
    return f"{shown:.3g} {unit}" if shown >= 1.0 or seconds <= 0.0 else f"{1000.0 * seconds:.3g} ms"


def audited(what: str) -> str:
    """A line of the audit list in words.

    >>> audited("evidence"), audited("sign-in refused")
    ('entry recorded', 'sign-in refused')
    """
    return AUDITED.get(what, what)


def capital(text: str) -> str:
    """The text as the beginning of a sentence; names in it keep their case."""
    return text[:1].upper() + text[1:]


def wired(name: str) -> str:
    """The name of a suspect, a wire by its two ends.

    >>> wired("wire X40.5 E5"), wired("X40.5")
    ('wire X40.5 to E5', 'X40.5')
    """
    ends = name.split()
    return (
        " ".join(["wire", ends[1], "to", *ends[2:]]) if name.startswith("wire ") and len(ends) > 2 else name
    )


def worth(bits: float) -> str:
    """How much a test tells, in a word; the figure is for programs and for whoever points at it.

    >>> worth(1.2), worth(0.4), worth(0.05)
    ('a lot', 'some', 'little')
    """
    return "a lot" if bits >= 0.8 else "some" if bits >= 0.25 else "little"


def bar(share: float) -> str:
    """Width of a bar in per cent, as an attribute wants it."""
    return f"{100 * min(max(share, 0.0), 1.0):.1f}%"


def minutes(value: float) -> str:
    """Minutes, by the half hour beyond an hour.

    >>> minutes(3.5), minutes(0.2), minutes(95)
    ('4 min', '< 1 min', '1 h 35 min')
    """
    if value < 0.75:
        return "0 min" if value <= 0 else "< 1 min"
    whole = int(value + 0.5)
    return f"{whole} min" if whole < 60 else f"{whole // 60} h {whole % 60} min"


def clock(at: datetime) -> str:
    """The time of day where the workbench runs."""
    return at.astimezone().strftime("%H:%M")


def day(at: datetime) -> str:
    """'today', or the date."""
    local = at.astimezone()
    return "today" if local.date() == datetime.now(UTC).astimezone().date() else f"{local.day} {local:%b %Y}"


def money_words(amount: Decimal | None, currency: str = "") -> str:
    """'96.50 EUR'."""
    return "–" if amount is None else f"{amount:,.2f} {currency}".strip().replace(",", "\u202f")


def as_json(value: Any) -> str:
    """JSON for a hidden field."""
    return json.dumps(value, ensure_ascii=False)
