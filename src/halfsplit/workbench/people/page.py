"""Signing in and out, the first owner, accounts, the audit list, the workshop's settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import get_args

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import RedirectResponse, Response
from starlette.exceptions import HTTPException

from halfsplit import job as jobs
from halfsplit.errors import ConflictError, InputError
from halfsplit.job import AuditEntry, Role, User, Workshop, serials_of
from halfsplit.workbench.access import Form, Owner, Reader, Store
from halfsplit.workbench.accounts import LONGEST_NAME, checked_password, hashed, set_session, sign_in
from halfsplit.workbench.forms import Reader as FieldReader
from halfsplit.workbench.forms import fields
from halfsplit.workbench.guard import COOKIE
from halfsplit.workbench.rendering import render


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


router = APIRouter(include_in_schema=False)
ROLES: tuple[Role, ...] = get_args(Role)
LINES = 100


@router.get("/sign-in")
def sign_in_page(request: Request) -> Response:
    """The form to sign in."""
    return render(request, "people/sign_in.html", SignInPage())


@router.post("/sign-in")
async def signed_in(request: Request, store: Store) -> Response:
    """Open a session, or say that name or password are wrong."""
    form = await fields(request)
    name, address = form.get("name", "")[:LONGEST_NAME], request.client.host if request.client else "-"
    session = await run_in_threadpool(sign_in, store, name, form.get("password", ""), address)
    if session is None:
        return render(request, "people/sign_in.html", SignInPage(name, refused=True), status=401)
    answer = RedirectResponse("/jobs", 303)
    set_session(answer, session[0], secure=request.app.state.secure or request.url.scheme == "https")
    return answer


@router.post("/sign-out")
def sign_out(request: Request, store: Store, person: Reader) -> Response:
    """Close the session."""
    store.accounts.close_session(hashed(request.cookies.get(COOKIE, "")))
    answer = RedirectResponse("/sign-in", 303)
    answer.delete_cookie(COOKIE)
    return answer


@router.get("/owner/{token}")
def owner_page(request: Request, token: str, store: Store) -> Response:
    """The form behind the one-time link that was printed on the terminal."""
    if not store.accounts.owner_link_holds(hashed(token), jobs.now()):
        raise HTTPException(
            404, "This link has been used or has expired: start the workbench again for a new one."
        )
    return render(request, "people/owner.html", OwnerPage(token))


@router.post("/owner/{token}")
def make_owner(request: Request, token: str, store: Store, form: Form) -> Response:
    """Use the link: the first owner."""
    name = form.get("name", "").strip()[:LONGEST_NAME]
    try:
        store.accounts.redeem_owner_link(hashed(token), _user(form, "owner"), at=jobs.now())
    except InputError as error:
        return render(request, "people/owner.html", OwnerPage(token, name, str(error)), status=422)
    return RedirectResponse("/sign-in", 303)


def _user(form: Mapping[str, str], role: str) -> User:
    """Whom a form makes. Raises InputError where it has no name, no password that will do, or the role is none."""
    name = form.get("name", "").strip()[:LONGEST_NAME]
    if not name or not name.isprintable():
        raise InputError("a name is missing", where="name")
    password = checked_password(form.get("password", ""))
    return User(name=name, password_hash=password, role=_role(role), created_at=jobs.now())


@router.get("/people")
def people_page(request: Request, store: Store, person: Owner) -> Response:
    """The accounts."""
    return render(request, "people/people.html", PeoplePage(store.accounts.users(), ROLES))


@router.post("/people")
def add_person(request: Request, store: Store, person: Owner, form: Form) -> Response:
    """Add an account."""
    try:
        store.accounts.add_user(_user(form, form.get("role", "")), who=person.name, at=jobs.now())
    except (InputError, ConflictError) as error:
        page = PeoplePage(store.accounts.users(), ROLES, str(error), form | {"password": ""})
        return render(request, "people/people.html", page, status=422)
    return RedirectResponse("/people", 303)


def _role(text: str) -> Role:
    for role in ROLES:
        if role == text:
            return role
    raise InputError(f"{text[:40]!r} is no role", remedy=f"choose {', '.join(ROLES)}", where="role")


@router.post("/people/{name}")
def change_person(name: str, store: Store, person: Owner, form: Form) -> Response:
    """Another role, another password, shut out or let in again; the person is signed out everywhere."""
    password = form.get("password", "")
    store.accounts.change_user(
        name,
        who=person.name,
        at=jobs.now(),
        role=_role(form["role"]) if form.get("role") else None,
        password_hash=checked_password(password) if password else None,
        disabled={"1": True, "0": False}.get(form.get("disabled", "")),
    )
    return RedirectResponse("/people", 303)


@router.get("/audit")
def audit_page(request: Request, store: Store, person: Owner, before: int | None = None) -> Response:
    """Who did what, the latest first."""
    entries = store.accounts.audit(before=before, limit=LINES)
    page = AuditPage(entries, entries[-1].number if len(entries) == LINES else None)
    return render(request, "people/audit.html", page)


@router.get("/settings")
def settings_page(request: Request, store: Store, person: Owner, saved: str = "") -> Response:
    """The workshop's settings."""
    workshop = store.workshop()
    return render(request, "people/settings.html", SettingsPage(workshop, _serials(workshop), saved == "1"))


def _serials(workshop: jobs.Workshop) -> dict[str, str]:
    """Every instrument with its serial number, '' for none."""
    kept = serials_of(workshop)
    return {name: kept.get(name, "") for name in jobs.INSTRUMENTS}


@router.post("/settings")
def save_settings(request: Request, store: Store, person: Owner, form: Form) -> Response:
    """Keep the workshop's settings."""
    reader = FieldReader(form)
    workshop = replace(
        store.workshop(),
        name=reader.text("name"),
        address=reader.text("address", 400),
        contact=reader.text("contact", 400),
        currency=reader.text("currency", 3).upper(),
        hourly_rate=reader.money("rate"),
        adapters=reader.lines("adapters", 2_000),
        serials=jobs.written_serials(
            {name: reader.text(f"serial-{name.replace(' ', '-')}", 60) for name in jobs.INSTRUMENTS}
        ),
    )
    if reader.problems:
        problem = "; ".join(f"{name}: {text}" for name, text in reader.problems.items())
        page = SettingsPage(workshop, _serials(workshop), saved=False, problem=problem)
        return render(request, "people/settings.html", page, status=422)
    store.save_workshop(workshop, who=person.name, at=jobs.now())
    return RedirectResponse("/settings?saved=1", 303)
