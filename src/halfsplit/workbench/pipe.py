"""One request (ASGI) over a socket between the server and one of its processes.

Frames of a length (4 bytes) and one message. Both ends are this program, and the socket's folder is open to its user
alone.
"""

from __future__ import annotations

import asyncio
import contextlib
import ctypes
import marshal
import os
import signal
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, Final

import anyio.to_thread
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from halfsplit.job.turns import is_waited_for

STARTING: Final = 60.0
"""Seconds that a process has to come up."""
WAITING: Final = 400
"""Requests that may wait for a job in one process: those of a heavy job must not keep the others out."""
CLOSING: Final = 10.0
"""Seconds in which the server takes an answer and closes the line."""
NICE: Final = 5
"""What is entered is stored by the server; the engine's processes stand behind it where the processors are short."""
ARENAS: Final = 2
TRIM_EVERY: Final = 3.0
"""Seconds after which memory that was used for work in between is given back to the system."""
_M_ARENA_MAX: Final = -8
TOLD: Final = ("type", "http_version", "method", "scheme", "path", "raw_path", "query_string", "root_path")


async def forward(socket: str, scope: Scope, receive: Receive, send: Send) -> None:
    """Let the process at this socket answer. Raises OSError or EOFError where it ends before it has answered."""
    reader, writer = await _connected(socket)
    bringing = asyncio.ensure_future(_bring(writer, scope, receive))
    try:
        while (message := await _read(reader)) is not None:
            await send(message)
    except EOFError:
        if bringing.done() and (refused := bringing.exception()):
            raise refused from None
        raise
    finally:
        bringing.cancel()
        writer.transport.abort()  # whatever is still on its way is for nobody


async def _connected(socket: str) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    end = time.monotonic() + STARTING
    while True:
        try:
            return await asyncio.open_unix_connection(socket)
        except (FileNotFoundError, ConnectionRefusedError):
            if time.monotonic() > end:
                raise
            await asyncio.sleep(0.05)


async def _bring(writer: asyncio.StreamWriter, scope: Scope, receive: Receive) -> None:
    """Take the request over, and tell when whoever asked has gone."""
    plain: dict[str, Any] = {name: scope[name] for name in TOLD if name in scope}
    pairs = {name: tuple(scope.get(name) or ()) or None for name in ("client", "server")}
    _write(writer, {**plain, **pairs, "headers": [tuple(pair) for pair in scope["headers"]]})
    try:
        while True:
            message = await receive()
            _write(writer, dict(message))
            await writer.drain()
            if message["type"] == "http.disconnect":
                return
    except (
        Exception
    ):  # a body that is too large, or the process has gone: nobody shall wait for the other end
        writer.close()
        raise


async def _read(reader: asyncio.StreamReader) -> Any:
    size = int.from_bytes(await reader.readexactly(4), "big")
    return marshal.loads(await reader.readexactly(size))  # noqa: S302 - written by this program


def _write(writer: asyncio.StreamWriter, message: Any) -> None:
    data = marshal.dumps(message)
    writer.write(len(data).to_bytes(4, "big") + data)


# In the process


def serve(start: Callable[[], ASGIApp], socket: str, lifeline: Any) -> None:
    """Answer until the server goes. Ctrl-C at the terminal is the server's to answer."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(AttributeError, OSError):
        os.nice(NICE)
    with contextlib.suppress(
        AttributeError, OSError
    ):  # glibc alone: else each thread keeps what it has freed
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, ARENAS)
    asyncio.run(_answering(start(), socket, lifeline))


async def _answering(app: ASGIApp, socket: str, lifeline: Any) -> None:
    anyio.to_thread.current_default_thread_limiter().total_tokens = WAITING

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError, EOFError):
            await _answer(app, reader, writer)
        writer.close()

    async def trim() -> None:
        with contextlib.suppress(AttributeError, OSError):
            library = ctypes.CDLL(None)
            while True:
                await asyncio.sleep(TRIM_EVERY)
                await anyio.to_thread.run_sync(library.malloc_trim, 0)

    over, trimming = asyncio.Event(), asyncio.ensure_future(trim())
    asyncio.get_running_loop().add_reader(lifeline.fileno(), over.set)
    async with await asyncio.start_unix_server(answer, socket):
        await over.wait()
        trimming.cancel()
        os._exit(0)  # threads that still work on something are of no use to anybody


async def _answer(app: ASGIApp, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    scope = await _read(reader)
    scope |= {"asgi": {"version": "3.0", "spec_version": "2.3"}, "state": {}, "extensions": {}}
    coming: asyncio.Queue[Message] = asyncio.Queue()
    gone = False

    async def listen() -> None:
        nonlocal gone
        with contextlib.suppress(OSError, EOFError):
            while not gone:
                message = await _read(reader)
                gone = message["type"] == "http.disconnect"
                coming.put_nowait(message)
        gone = True
        coming.put_nowait({"type": "http.disconnect"})

    async def send(message: Message) -> None:
        plain = dict(message)
        if "headers" in plain:
            plain["headers"] = [tuple(pair) for pair in plain["headers"]]
        _write(writer, plain)
        await writer.drain()

    listening = asyncio.ensure_future(listen())
    is_waited_for.set(lambda: not gone)
    try:
        await app(scope, coming.get, send)
        _write(writer, None)
        await writer.drain()
        # The server closes the line: closed from here with something unread, the answer would be lost with it.
        await asyncio.wait([listening], timeout=CLOSING)
    finally:
        listening.cancel()


def megabytes(process_id: int) -> float:
    """What a process holds for itself alone, in MB; 0 where the system does not tell."""
    with contextlib.suppress(OSError, ValueError, IndexError):
        pages = Path(f"/proc/{process_id}/statm").read_text(encoding="ascii").split()
        return (int(pages[1]) - int(pages[2])) * os.sysconf("SC_PAGESIZE") / 1e6
    return 0.0
