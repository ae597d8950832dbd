"""Serving the workbench: alone on this machine, or with accounts for the workshop's network."""

from __future__ import annotations

import ipaddress
from collections.abc import Callable

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


def run(
    store: JobStore, host: str = "127.0.0.1", port: int = 8090, *, tell: Callable[[str], None] = print
) -> None:
    """Serve until interrupted. Beyond loopback accounts are required; ``tell`` prints the first owner's link."""
    own = is_loopback(host)
    shown = f"[{host}]" if ":" in host else host
    address = f"http://{shown}:{port}"
    app = create_app(store, accounts=not own, hosts=LOOPBACK | {host} if own else None)
    tell(f"Halfsplit is at {address}")
    if not own and store.accounts.needs_owner():
        tell(
            f"Nobody owns this workbench yet. Open this link within the hour, once: {new_owner_link(store, address)}"
        )
    uvicorn.run(
        app, host=host, port=port, log_level="warning", timeout_graceful_shutdown=2, server_header=False
    )
