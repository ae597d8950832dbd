"""The simulated vehicle in a process of its own, on a small slcan hub at a loopback socket.

    with running(demo_vehicle()) as channel:
        scan(channel)

`python -m halfsplit.scan.simulated` is that process: it reads the vehicle as one line of JSON, writes its port as one
line, and ends when its standard input ends, so that nothing is left behind if the parent dies.
"""

from __future__ import annotations

import asyncio
import json
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING

from halfsplit.errors import HalfsplitError
from halfsplit.scan.channel import FUNCTIONAL, PADDING, Channel
from halfsplit.scan.vehicle import (
    FLOOD,
    GARBAGE,
    NOISE,
    PENDING,
    PENDING_FOR_EVER,
    SimulatedVehicle,
    UnitState,
)

START = 60.0
TICK = 0.002
PENDING_PAUSE = 0.15
FRAME = 125
"""Bits on the bus of a frame of eight bytes, about."""

# The rates of the slcan commands S0 to S8, in bit/s.
RATES = (10_000, 20_000, 50_000, 100_000, 125_000, 250_000, 500_000, 750_000, 1_000_000)

# A first frame, then consecutive frames out of order, then frames of no known type.
GARBLED = ("1014590201430113", "25AABBCCDDEEFF00", "23AABBCCDDEEFF00", "F0FFFFFFFFFFFFFF", "9000")

Frame = tuple[int, bytes]


if TYPE_CHECKING:
    import isotp


class SimulationError(HalfsplitError):
    """The process of the simulated vehicle did not start; the text says what it left behind."""


@contextmanager
def running(vehicle: SimulatedVehicle) -> Iterator[Channel]:
    """Run a vehicle in another process; gives the channel to it. Raises SimulationError."""
    process = subprocess.Popen(
        [sys.executable, "-m", "halfsplit.scan.simulated"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        yield Channel("slcan", f"socket://127.0.0.1:{_port(process, vehicle)}", vehicle.bit_rate)
    finally:
        process.terminate()
        with suppress(subprocess.TimeoutExpired):
            process.communicate(timeout=5)
        if process.poll() is None:
            process.kill()
            process.communicate()


def _port(process: subprocess.Popen[str], vehicle: SimulatedVehicle) -> int:
    """Hand the vehicle over and wait for the port, a bounded time."""
    answer: list[str] = []
    assert process.stdin is not None  # noqa: S101 - for the type checker: all three are pipes
    assert process.stdout is not None  # noqa: S101
    assert process.stderr is not None  # noqa: S101
    with suppress(OSError):
        process.stdin.write(json.dumps(vehicle.as_dict()) + "\n")
        process.stdin.flush()
    stdout = process.stdout
    reader = threading.Thread(target=lambda: answer.append(stdout.readline()), daemon=True)
    reader.start()
    reader.join(START)
    if not answer or not answer[0].strip().isdigit():
        process.kill()
        said = process.stderr.read()[-500:]
        raise SimulationError(
            f"the simulated vehicle did not start within {START:.0f} s: {said or 'it said nothing'}"
        )
    return int(answer[0])


class SimulatedNode:
    """One unit on the hub: frames in, frames out, with ISO 15765-2 between them and `UnitState`."""

    def __init__(self, state: UnitState, send: asyncio.Queue[Frame]) -> None:
        self.state = state
        self.inbox: deque[isotp.CanMessage] = deque(maxlen=1024)
        self.later: deque[tuple[float, bytes]] = deque()
        self._send = send
        import isotp  # slow to import, and only the process of its own needs it

        self._message = isotp.CanMessage
        address = state.unit.address
        mode = isotp.AddressingMode.Normal_29bits if address.extended else isotp.AddressingMode.Normal_11bits
        self._logic = isotp.TransportLayerLogic(
            rxfn=lambda _timeout: self.inbox.popleft() if self.inbox else None,
            txfn=lambda message: send.put_nowait((message.arbitration_id, bytes(message.data))),
            address=isotp.Address(mode, txid=address.response, rxid=address.request),
            params={"tx_padding": PADDING},
        )

    def frame(self, identifier: int, data: bytes, now: float) -> None:
        """Take a frame from the bus, if it is for this unit."""
        if identifier == self.state.unit.address.request:
            self.inbox.append(
                self._message(arbitration_id=identifier, data=data, extended_id=identifier > 0x7FF)
            )
        elif identifier == FUNCTIONAL and 0 < data[0] <= 7:
            self._reply(self.state.answer(data[1 : 1 + data[0]], functional=True), data[1], now)

    def step(self, now: float) -> None:
        """Let time pass: segmentation, requests that are complete, answers that are due."""
        self._logic.process()
        request = self._logic.recv()
        if request:
            self._reply(self.state.answer(bytes(request)), request[0], now)
        if self.later and self.later[0][0] <= now:
            self._logic.send(self.later.popleft()[1])
            self._logic.process()

    def _reply(self, answer: bytes | None, service: int, now: float) -> None:
        if answer is None:
            return
        fault = self.state.unit.fault
        wait = bytes([0x7F, service, 0x78])
        if fault == GARBAGE and service not in (0x3E, 0x01):
            for text in GARBLED:
                self._send.put_nowait((self.state.unit.address.response, bytes.fromhex(text)))
        elif fault == PENDING_FOR_EVER and service == 0x19:
            self.later.extend((now + PENDING_PAUSE * count, wait) for count in range(200))
        elif fault == PENDING and service == 0x19:
            self.later.extend((now + PENDING_PAUSE * count, wait) for count in range(3))
            self.later.append((now + PENDING_PAUSE * 3, answer))
        else:
            self.later.append((now, answer))


class Hub:
    """The bus: every client that is open at the vehicle's bit rate hears every frame; others hear nothing."""

    def __init__(self, vehicle: SimulatedVehicle) -> None:
        self.vehicle = vehicle
        self.outbox: asyncio.Queue[Frame] = asyncio.Queue()
        fed = (unit for unit in vehicle.units if unit.name not in vehicle.unfed)
        self.nodes = [SimulatedNode(UnitState(unit), self.outbox) for unit in fed]
        self.clients: dict[asyncio.StreamWriter, int] = {}
        self.open: set[asyncio.StreamWriter] = set()

    async def client(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Serve one slcan client until it goes."""
        self.clients[writer] = 0
        with suppress(OSError, asyncio.IncompleteReadError, asyncio.LimitOverrunError):
            while data := await reader.readuntil(b"\r"):
                line = data[:-1].decode("ascii", "replace")
                if line[:1] == "S" and line[1:].isdigit() and int(line[1:]) < len(RATES):
                    self.clients[writer] = RATES[int(line[1:])]
                elif line[:1] in ("O", "L"):
                    self.open.add(writer)
                elif line[:1] == "C":
                    self.open.discard(writer)
                elif line[:1] in ("t", "T") and self._on_bus(writer):
                    self._from_client(line, writer)
        self.clients.pop(writer, None)
        self.open.discard(writer)
        writer.close()

    def _on_bus(self, writer: asyncio.StreamWriter) -> bool:
        return writer in self.open and self.clients.get(writer) == self.vehicle.bit_rate

    def _from_client(self, line: str, writer: asyncio.StreamWriter) -> None:
        width = 3 if line[0] == "t" else 8
        try:
            identifier, data = int(line[1 : 1 + width], 16), bytes.fromhex(line[2 + width :])
        except ValueError:
            return
        now = asyncio.get_running_loop().time()
        self._write(slcan_line(identifier, data), but=writer)
        for node in self.nodes:
            if data:
                node.frame(identifier, data, now)

    def _write(self, line: bytes, but: asyncio.StreamWriter | None = None) -> None:
        for writer in list(self.clients):
            room = writer.transport.get_write_buffer_size() < 1_000_000
            if writer is not but and room and self._on_bus(writer):
                writer.write(line)

    async def run(self) -> None:
        """Move time on: units, their answers, the traffic that every bus has, and the faults of this one."""
        loop = asyncio.get_running_loop()
        tick = 0
        while True:
            await asyncio.sleep(TICK)
            tick += 1
            for node in self.nodes:
                node.step(loop.time())
            while not self.outbox.empty():
                self._write(slcan_line(*self.outbox.get_nowait()))
            if tick % 10 == 0 and self.nodes:
                self._write(slcan_line(0x120, tick.to_bytes(8, "big")))
            if self.vehicle.fault == FLOOD:
                for _ in range(round(self.vehicle.bit_rate * TICK / FRAME)):
                    self._write(slcan_line(0x001, b"\x00" * 8))
            if self.vehicle.fault == NOISE and tick % 50 == 0:
                self._write(b"t7E8ZZ\xff\xfe\r")


def slcan_line(identifier: int, data: bytes) -> bytes:
    """A data frame as an slcan adapter writes it."""
    head = f"t{identifier:03X}" if identifier <= 0x7FF else f"T{identifier:08X}"
    return f"{head}{len(data)}{data.hex().upper()}\r".encode()


async def _serve(vehicle: SimulatedVehicle) -> None:
    hub = Hub(vehicle)
    server = await asyncio.start_server(hub.client, "127.0.0.1", 0)
    sys.stdout.write(f"{server.sockets[0].getsockname()[1]}\n")
    sys.stdout.flush()
    parent = asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    work = asyncio.ensure_future(hub.run())
    await asyncio.wait((parent, work), return_when=asyncio.FIRST_COMPLETED)
    work.cancel()
    server.close()


def main() -> None:
    """Run the vehicle that standard input describes until standard input ends."""
    # python-can, below isotp, loads it for files where it is installed: two thirds of the start
    sys.modules["asammdf"] = None  # type: ignore[assignment]
    asyncio.run(_serve(SimulatedVehicle.from_dict(json.loads(sys.stdin.readline()))))


if __name__ == "__main__":
    main()
