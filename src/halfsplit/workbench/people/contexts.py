"""What the pages of accounts and settings know: frozen records, one for each template."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from halfsplit.job import AuditEntry, User, Workshop


@dataclass(frozen=True)
class SignInPage:
    """``refused``: name or password were wrong."""

    name: str = ""
    refused: bool = False


@dataclass(frozen=True)
class OwnerPage:
    """The first owner's form."""

    token: str
    name: str = ""
    problem: str = ""


@dataclass(frozen=True)
class PeoplePage:
    """Accounts."""

    users: Sequence[User]
    roles: Sequence[str]
    problem: str = ""
    typed: dict[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class AuditPage:
    """Who did what; ``before``: number of the last line shown, for the next page."""

    entries: Sequence[AuditEntry]
    before: int | None


@dataclass(frozen=True)
class SettingsPage:
    """The workshop's settings."""

    workshop: Workshop
    serials: Mapping[str, str]
    saved: bool
    problem: str = ""
