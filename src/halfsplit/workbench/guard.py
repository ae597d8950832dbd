"""What every request passes before a page sees it, and every answer before it leaves.

Hosts that are not ours, requests that another site sent, and bodies that are too large are turned away here; the
content security policy and its companions are added here. Signing in is in ``people.py``.
"""

from __future__ import annotations

import asyncio
import re
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from halfsplit.workbench.problems import problem_response

LOOPBACK: Final = frozenset({"127.0.0.1", "localhost", "::1"})
SAFE_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})
LARGEST_BODY: Final = 40_000_000
"""Bytes; a photo may have 30 MB."""
LARGEST_FILE: Final = 4_000_000_000
"""Bytes of a capture; it goes to the disk as it comes, never into memory."""
LARGEST_CAPTURE: Final = LARGEST_FILE + 1_000_000
"""With the form around it."""
_CAPTURES: Final = re.compile(r"/jobs/(?:[^/]+/captures|import)")
POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; font-src 'self'; "
    "connect-src 'self'; form-action 'self'; frame-src 'self'; frame-ancestors 'self'; base-uri 'none'"
)
HEADERS: Final[Mapping[str, str]] = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "SAMEORIGIN",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(self), geolocation=(), microphone=()",
}


LARGEST_UNSIGNED: Final = 65_536
"""Bytes from somebody who has not signed in: the forms of signing in need far less."""
NOT_SIGNED_IN: Final = (401, "Sign in first", "Sign in, then send it again.")
COOKIE: Final = "halfsplit-session"


WITHIN: Final = 30.0
"""Seconds in which a body of at most `LARGEST_UNSIGNED` bytes has to be there: a slow one holds a line open."""
TOO_SLOW: Final = (408, "Too slow", "The request did not come in time. Send it again.")


class RefusedError(Exception):
    """The body grew past the limit while it was read, or did not come in time."""


@dataclass(frozen=True)
class Guard:
    """An ASGI application around another one. ``hosts``: names that the workbench answers to, None for any.

    ``signed_in``: whether a session's token is good, None where nobody signs in; who has not signed in sends
    `LARGEST_UNSIGNED` bytes at most. ``secure``: the workbench is reached by https alone, and browsers are told so.
    """

    app: ASGIApp
    hosts: frozenset[str] | None = LOOPBACK
    signed_in: Callable[[str], bool] | None = None
    secure: bool = False

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _with_headers(send, cached=scope["path"].startswith("/static/"), secure=self.secure)
        headers, method = Headers(scope=scope), scope["method"]
        capture = method == "POST" and _CAPTURES.fullmatch(scope["path"])
        largest = LARGEST_CAPTURE if capture else LARGEST_BODY
        refused = _refusal(method, headers, self.hosts, largest)
        if not refused and not await self._may_be_long(headers):
            largest = LARGEST_UNSIGNED
            refused = NOT_SIGNED_IN if int(headers.get("content-length", "0")) > largest else None
        if refused:
            await problem_response(*refused)(scope, receive, answer)
            return
        short = largest == LARGEST_UNSIGNED or int(headers.get("content-length", "0")) <= LARGEST_UNSIGNED
        await self._limited(scope, _in_time(receive) if short else receive, answer, largest)

    async def _may_be_long(self, headers: Headers) -> bool:
        """Whether the body may have more than `LARGEST_UNSIGNED` bytes; short ones are not looked into."""
        short = headers.get("transfer-encoding") is None and (
            int(headers.get("content-length", "0")) <= LARGEST_UNSIGNED
        )
        if self.signed_in is None or short:
            return True
        token = cookie_parser(headers.get("cookie", "")).get(COOKIE, "")
        return bool(token) and await run_in_threadpool(self.signed_in, token)

    async def _limited(self, scope: Scope, receive: Receive, send: Send, largest: int) -> None:
        seen, begun = 0, False
        refused: tuple[int, str, str] | None = None

        async def counted() -> Message:
            nonlocal seen, refused
            try:
                message = await receive()
            except TimeoutError:
                refused = TOO_SLOW
                raise RefusedError from None
            seen += len(message.get("body", b""))
            if seen > largest:
                refused = NOT_SIGNED_IN if largest == LARGEST_UNSIGNED else _too_large(largest)
                raise RefusedError
            return message

        async def watched(message: Message) -> None:
            nonlocal begun
            if not refused or begun:  # else it is what the pages make of the error
                begun = True
                await send(message)

        with suppress(RefusedError):
            await self.app(scope, counted, watched)
        if refused and not begun:
            await problem_response(*refused)(scope, receive, send)


def _in_time(receive: Receive) -> Receive:
    """The same; raises TimeoutError where the whole body has not come within `WITHIN` seconds."""
    end, whole = time.monotonic() + WITHIN, False

    async def received() -> Message:
        nonlocal whole
        if whole:
            return await receive()
        async with asyncio.timeout(end - time.monotonic()):
            message = await receive()
        whole = not message.get("more_body", False)
        return message

    return received


def _too_large(largest: int) -> tuple[int, str, str]:
    return 413, "Too large", f"At most {largest // 1_000_000} MB are taken at once."


def _refusal(
    method: str, headers: Headers, hosts: frozenset[str] | None, largest: int
) -> tuple[int, str, str] | None:
    """Status, title and detail, or None where the request may pass."""
    host = headers.get("host", "")
    if hosts is not None and _host_name(host) not in hosts:
        return 421, "Not this address", "The workbench answers only to the address that it was started with."
    if method not in SAFE_METHODS and _from_elsewhere(headers, host):
        return 403, "Sent by another site", "This request came from another site; nothing was changed."
    length = headers.get("content-length", "0")
    if not (length.isascii() and length.isdigit()):
        return 400, "Bad length", "The length of the request is no number."
    return _too_large(largest) if int(length) > largest else None


def _host_name(host: str) -> str:
    try:
        return urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return ""


def _from_elsewhere(headers: Headers, host: str) -> bool:
    """By Fetch Metadata, else by Origin; a program that is no browser sends neither."""
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site not in ("same-origin", "none")
    origin = headers.get("origin")
    return origin is not None and urlsplit(origin).netloc != host


def _with_headers(send: Send, *, cached: bool, secure: bool) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            if secure:
                headers.setdefault("Strict-Transport-Security", "max-age=31536000")
            headers.setdefault("Cache-Control", "no-cache" if cached else "no-store")
        await send(message)

    return answer
