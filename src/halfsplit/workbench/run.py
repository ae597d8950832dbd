"""Serving the workbench: alone on this machine, or with accounts for the workshop's network."""

from __future__ import annotations

import contextlib
import io
import ipaddress
import os
import socket
import ssl
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import segno
import uvicorn
from starlette.types import ASGIApp

from halfsplit.errors import InputError
from halfsplit.job import JobStore
from halfsplit.job.ahead import start_thinking_ahead
from halfsplit.job.spread import LOCAL
from halfsplit.job.working import workers
from halfsplit.workbench.accounts import new_owner_link
from halfsplit.workbench.app import create_app, pages_in_process
from halfsplit.workbench.guard import LOOPBACK
from halfsplit.workbench.pool import Pool

NOT_SECURE: Final = (
    "Served without encryption: whoever is on this network can read passwords and jobs. "
    "Give --certificate and --key, or serve through a proxy (--public); see docs/serving.md."
)

MOST_PROCESSES: Final = 4
"""Unless more are asked for."""


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
    known = [
        outward(family, probe)
        for family, probe in ((socket.AF_INET, "192.0.2.1"), (socket.AF_INET6, "2001:db8::1"))
    ]
    with contextlib.suppress(OSError):
        known += [
            str(entry[4][0]) for entry in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)
        ]
    own = [
        address
        for address in dict.fromkeys(known)
        if address and not is_loopback(address) and not address.startswith("fe80")
    ]
    return own or ["localhost"]


def outward(family: socket.AddressFamily, probe: str) -> str:
    """This machine's address on its way to others; nothing is sent. '' where there is no way.

    ``probe``: an address that is kept free for documentation (RFC 5737, RFC 3849).
    """
    with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as asked:
        asked.connect((probe, 9))
        return str(asked.getsockname()[0])
    return ""


def qr_code(text: str) -> str:
    """A QR code (ISO/IEC 18004) as lines for a terminal."""
    drawn = io.StringIO()
    segno.make(text, micro=False).terminal(drawn, compact=True)
    return drawn.getvalue()


@dataclass(frozen=True)
class Serving:
    """How the workbench is served.

    ``certificate`` and ``key``: PEM files, for https. ``public``: the address that people open where a reverse proxy
    stands in front, such as https://jobs.workshop.test; ``proxy``: where the proxy's requests come from, whose
    X-Forwarded-For and X-Forwarded-Proto are believed. ``workers``: processes for the engine's work, 0: in
    the server's own, None: as many as there are processors where others sign in. ``cluster``: the Dask scheduler that
    plans and exercises are sent to; '' or 'local': processes of this machine.
    """

    host: str = "127.0.0.1"
    port: int = 8090
    certificate: Path | None = None
    key: Path | None = None
    public: str = ""
    proxy: str = "127.0.0.1"
    workers: int | None = None
    cluster: str = ""

    def __post_init__(self) -> None:
        if (self.certificate is None) != (self.key is None):
            raise InputError("--certificate and --key belong together", remedy="name both files, or neither")
        if self.public and not self.named:
            raise InputError(
                f"{self.public[:80]!r} is no address", remedy="write it like https://jobs.workshop.test"
            )

    @property
    def named(self) -> str:
        """The host name of the public address, '' without one."""
        with contextlib.suppress(ValueError):
            parts = urlsplit(self.public)
            return (parts.hostname or "") if parts.scheme in ("http", "https") else ""
        return ""

    @property
    def own(self) -> bool:
        """Whether it is for this machine alone; then nobody signs in."""
        return is_loopback(self.host) and not self.public

    @property
    def processes(self) -> int:
        """How many processes the engine's work has; 0 for the server's own."""
        if sys.platform == "win32":
            return 0
        usual = 0 if self.own else min(os.cpu_count() or 1, MOST_PROCESSES)
        return usual if self.workers is None else self.workers

    @property
    def secure(self) -> bool:
        """Whether browsers reach it by https."""
        return self.public.startswith("https:") if self.public else self.certificate is not None

    @property
    def hosts(self) -> frozenset[str] | None:
        """The names that it answers to, None for any."""
        if self.public:
            return LOOPBACK | {self.named}
        return LOOPBACK | {self.host} if self.own else None

    @property
    def reached(self) -> list[str]:
        """The addresses to open."""
        if self.public:
            return [self.public.rstrip("/")]
        scheme = "https" if self.secure else "http"
        shown = [f"[{address}]" if ":" in address else address for address in addresses(self.host)]
        return [f"{scheme}://{address}:{self.port}" for address in shown]


def check_certificate(serving: Serving) -> None:
    """Raise InputError where certificate and key cannot be used, before anything is begun."""
    if serving.certificate is None or serving.key is None:
        return
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(
            serving.certificate, serving.key, password=_no_password
        )
    except (OSError, ValueError) as error:
        raise InputError(
            f"{serving.certificate} and {serving.key} cannot be used for https: {error}",
            remedy="both are PEM files, the key without a password, and belong together",
        ) from None


def _no_password() -> str:
    """Asked for where the key has a password: nobody is there to type it when a server starts."""
    raise ValueError("the key has a password")


def run(store: JobStore, serving: Serving, *, tell: Callable[[str], None] = print) -> None:
    """Serve until interrupted. Beyond this machine accounts are required; ``tell`` prints the first owner's link."""
    workers.cluster = "" if serving.cluster == LOCAL else serving.cluster
    with _pool(store, serving) as around:
        app = create_app(
            store, accounts=not serving.own, hosts=serving.hosts, secure=serving.secure, around=around
        )
        tell(f"Halfsplit is at {' or '.join(serving.reached)}")
        if not serving.own:
            if not serving.secure:
                tell(NOT_SECURE)
            first = serving.reached[0]
            if store.accounts.needs_owner():
                first = new_owner_link(store, first)
                tell(f"Nobody owns this workbench yet. Open this link within the hour, once: {first}")
            tell(f"Scan this with a tablet's camera to open it:\n{qr_code(first)}")
        uvicorn.run(
            app,
            host=serving.host,
            port=serving.port,
            log_level="warning",
            timeout_graceful_shutdown=2,
            server_header=False,
            proxy_headers=bool(serving.public),
            forwarded_allow_ips=serving.proxy,
            ssl_certfile=serving.certificate,
            ssl_keyfile=serving.key,
        )


@contextlib.contextmanager
def _pool(store: JobStore, serving: Serving) -> Iterator[Callable[[ASGIApp], ASGIApp]]:
    """What puts the pool of processes around the pages; the processes end with the block."""
    if not serving.processes:
        end = start_thinking_ahead(store)
        yield lambda app: app
        end.set()
        return
    start = partial(
        pages_in_process, store.url, store.files.folder, accounts=not serving.own, secure=serving.secure
    )
    pools: list[Pool] = []

    def around(app: ASGIApp) -> ASGIApp:
        pools.append(Pool(app, start, serving.processes))
        return pools[-1]

    try:
        yield around
    finally:
        for pool in pools:
            pool.close()
