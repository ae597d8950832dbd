"""Outside recordings: what is known of each and what is told of it, as the table of the docs."""

from dataclasses import dataclass
from pathlib import Path

from bench.shared import DATA
from halfsplit.capture import Capture, Setup, analyse, suggested_roles, unassigned


@dataclass(frozen=True)
class Known:
    """What the source says of a recording; `roles` where its names do not say them; `channel` to be told of."""

    what: str
    roles: tuple[tuple[str, str], ...] = ()
    channel: str = ""


RECORDINGS: dict[str, Known] = {
    "crank-cam/crank-12-plus-1-cranking.csv": Known("12 teeth and an extra one, 188 rpm"),
    "crank-cam/crank-24-plus-1-running.csv": Known(
        "24+1, 808 rpm at first", (("pri", "crank"), ("sec", "cam"))
    ),
    "crank-cam/crank-36-2-1-running.csv": Known(
        "36-2-1, 1,436 rpm at first", (("Channel 0", "crank"), ("Channel 1", "cam"))
    ),
    "crank-cam/crank-36-2-noisy.csv": Known("36-2, 316 rpm", (("column 2", "crank"),)),
    "crank-cam/crank-60-2-analogue-cranking.csv": Known(
        "60-2, 322 rpm with the wheel counted as a camshaft's"
    ),
    "crank-cam/crank-60-2-analogue-speeding-up.csv": Known("60-2, 175 rising to about 500 rpm"),
    "crank-cam/crank-analogue-unknown-wheel.csv": Known("wheel not known, stops"),
    "crank-cam/crank-cam-cranking-a.csv": Known("133, then 204 rpm"),
    "crank-cam/crank-cam-cranking-b.csv": Known("sound"),
    "crank-cam/crank-cam-cranking-b-one-cam-tooth-missing.csv": Known("lacks one cam tooth"),
    "crank-cam/crank-cam-cranking-c.csv": Known("nothing above a cranking speed"),
    "crank-cam/crank-several-gaps-cranking.csv": Known("243 rpm, more than one gap a turn"),
    "bus/can-125k-extended.npz": Known(
        "125 kbit/s, identifier 11223344, 7 bytes", (("CAN_RX", "CAN receive"),)
    ),
    "bus/can-125k-load-25.npz": Known("125 kbit/s", (("CAN_RX", "CAN receive"),)),
    "bus/can-fd-brs-ext-64.npz": Known("CAN FD, rate switched, 64 bytes", (("CAN_L", "CAN receive"),)),
    "bus/can-fd-brs-std-8.npz": Known("CAN FD, rate switched, 8 bytes", (("CAN_L", "CAN receive"),)),
    "bus/can-fd-no-brs-8.npz": Known("CAN FD, one rate, 8 bytes", (("CAN_L", "CAN receive"),)),
    "bus/lin-malformed.npz": Known("frames that break off", (("LIN-Bus", "LIN"),)),
    "bus/lin-single-frame.npz": Known("protected identifier C1, 11 11, checksum 1C", (("LIN-Bus", "LIN"),)),
    "adapt-lite/Exp_1127_017f_pb_ADAPT-Lite.csv": Known(
        "IT240 off by 7.8 A now and then from 35 s", channel="IT240"
    ),
    "adapt-lite/Exp_1127_023f_pb_ADAPT-Lite.csv": Known("IT267 off by -1 A from 40 s", channel="IT267"),
    "adapt-lite/Exp_1127_041f_pb_ADAPT-Lite.csv": Known("ST516 stuck at 840 from 170 s", channel="ST516"),
    "adapt-lite/Exp_1151_pb_ADAPT-Lite.csv": Known("the load's resistance drifts from 30 s", channel="IT240"),
}
"""File -> what is known of it."""
SPEEDS = ("speed at the start", "lowest speed", "highest speed")
"""What is told of a wheel's turning."""


def told(path: Path, known: Known) -> str:
    """Verdict, reason and speed, or the general measurements of one channel."""
    capture = Capture.read(path)
    roles = dict(known.roles) if known.roles else suggested_roles(capture)
    if known.channel:
        general = next(one for one in unassigned(capture, {}) if one.channel == known.channel)
        parts = [str(general[name]) for name in ("lowest", "highest", "mean")]
        return f"{general.verdict}: {known.channel} {', '.join(parts)}"
    said = []
    for result in analyse(capture, roles, Setup()):
        speeds = ", ".join(f"{name} {result[name].value:.0f}" for name in SPEEDS if name in result)
        said.append(f"{result.verdict}: {result.reason}" + (f" ({speeds} rpm)" if speeds else ""))
    return "; ".join(said)


def main(_: list[str]) -> int:
    """`python -m bench capture_data`."""
    print("| recording | known | told |\n| --- | --- | --- |")
    for name, known in RECORDINGS.items():
        path = DATA / name
        print(f"| {path.name} | {known.what} | {told(path, known) if path.exists() else 'not here'} |")
    return 0
