"""Serving the workbench: alone on this machine, or with accounts for the workshop's network."""

from __future__ import annotations

import contextlib
import io
import ipaddress
import socket
from collections.abc import Callable

import segno
import uvicorn

from halfsplit.job import JobStore
from halfsplit.workbench.accounts import new_owner_link
from halfsplit.workbench.app import create_app
from halfsplit.workbench.guard import LOOPBACK


def is_loopback(host: str) -> bool:
    """Whether nobody else can reach this address.

    >>> is_loopback("127.0.0.1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, False)
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def addresses(host: str) -> list[str]:
    """By which addresses a tablet reaches the workbench: the host itself, or where it listens on all, this machine's.

    >>> addresses("127.0.0.1")
    ['127.0.0.1']
    """
    if host not in ("0.0.0.0", "::", ""):  # noqa: S104 - compared, not bound
        return [host]
    found = [
        outward(family, probe)
        for family, probe in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1"))
    ]
    with contextlib.suppress(OSError):
        found += [
            str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        ]
    own = [one for one in dict.fromkeys(found) if one and not is_loopback(one) and not one.startswith("fe80")]
    return own or ["localhost"]


def outward(family: socket.AddressFamily, probe: str) -> str:
    """This machine's address on its way to others; nothing is sent. '' where there is no way.

    ``probe``: an address that is kept free for documentation (RFC 5737, RFC 3849).
    """
    with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asked:
        asked.connect((probe, 9))
        return str(asked.getsockname()[0])
    return ""


def _shown(host: str) -> str:
    return f"[{host}]" if ":" in host else host


def qr_code(text: str) -> str:
    """A QR code (ISO/IEC 18004) as lines for a terminal."""
    drawn = io.StringIO()
    segno.make(text, micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()


def run(
    store: JobStore, host: str = "127.0.0.1", port: int = 8090, *, tell: Callable[[str], None] = print
) -> None:
    """Serve until interrupted. Beyond loopback accounts are required; ``tell`` prints the first owner's link."""
    own = is_loopback(host)
    app = create_app(store, accounts=not own, hosts=LOOPBACK | {host} if own else None)
    reached = [f"http://{_shown(one)}:{port}" for one in addresses(host)]
    tell(f"Halfsplit is at {' or '.join(reached)}")
    if not own:
        first = reached[0]
        if store.accounts.needs_owner():
            first = new_owner_link(store, first)
            tell(f"Nobody owns this workbench yet. Open this link within the hour, once: {first}")
        tell(f"Scan this with a tablet's camera to open it:\n{qr_code(first)}")
    uvicorn.run(
        app, host=host, port=port, log_level="warning", timeout_graceful_shutdown=2, server_header=False
    )
