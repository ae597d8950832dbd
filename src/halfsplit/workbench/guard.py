"""What every request passes before a page sees it, and every answer before it leaves.

Hosts that are not ours, requests that another site sent, and bodies that are too large are turned away here; the
content security policy and its companions are added here. Signing in is in ``people.py``.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
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


class TooLargeError(Exception):
    """The body grew past the limit while it was read."""


@dataclass(frozen=True)
class Guard:
    """An ASGI application around another one. ``hosts``: names that the workbench answers to, None for any."""

    app: ASGIApp
    hosts: frozenset[str] | None = LOOPBACK

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _with_headers(send, cached=scope["path"].startswith("/static/"))
        largest = _largest(scope["method"], scope["path"])
        refused = _refusal(scope["method"], Headers(scope=scope), self.hosts, largest)
        if refused:
            await problem_response(*refused)(scope, receive, answer)
            return
        await self._limited(scope, receive, answer, largest)

    async def _limited(self, scope: Scope, receive: Receive, send: Send, largest: int) -> None:
        seen, begun = 0, False

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > largest:
                raise TooLargeError
            return message

        async def watched(message: Message) -> None:
            nonlocal begun
            begun = True
            await send(message)

        try:
            await self.app(scope, counted, watched)
        except TooLargeError:
            if not begun:
                await problem_response(*_too_large(largest))(scope, receive, send)


def _largest(method: str, path: str) -> int:
    """Bytes that a request may bring."""
    return LARGEST_CAPTURE if method == "POST" and _CAPTURES.fullmatch(path) else LARGEST_BODY


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
    if not length.isdigit():
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


def _with_headers(send: Send, *, cached: bool) -> Send:
    async def answer(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-cache" if cached else "no-store")
        await send(message)

    return answer
