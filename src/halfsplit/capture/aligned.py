"""Channels brought to one rate, and what their times say."""

from collections.abc import Sequence

import numpy as np

from halfsplit.capture.channel import Channel
from halfsplit.capture.measure.result import CannotTell
from halfsplit.capture.measure.signal import Floats


def together(channels: Sequence[Channel]) -> tuple[list[Floats], float, float]:
    """The channels' values at one rate, that rate and the time of the first sample.

    Channels of one even time base are taken as they are; others are brought to the fastest of the rates over their
    common time, by straight lines between samples.
    """
    empty = next((channel.name for channel in channels if not len(channel)), None)
    if empty is not None:
        raise CannotTell(f"channel {empty!r} holds no sample here")
    first = channels[0]
    base = {(channel.rate, channel.start, len(channel)) for channel in channels}
    if first.rate and len(base) == 1:
        return [channel.values() for channel in channels], first.rate, first.start
    rate = max(usual_rate(channel) for channel in channels)
    start, stop = max(c.clock()[0] for c in channels), min(c.stop for c in channels)
    if stop - start < 2 / rate:
        raise CannotTell("the channels have no time in common")
    clock = start + np.arange(int((stop - start) * rate) + 1) / rate
    return [np.interp(clock, channel.clock(), channel.values()) for channel in channels], rate, float(start)


def usual_rate(channel: Channel) -> float:
    """Samples a second of a channel, of uneven times by their median. Raises `CannotTell`."""
    if channel.rate:
        return channel.rate
    steps = np.diff(channel.clock())
    steps = steps[steps > 0]
    if not steps.size:
        raise CannotTell(f"channel {channel.name!r} has no two different times")
    return 1.0 / float(np.median(steps))


def least_step(channel: Channel) -> float:
    """Seconds between the two closest changes of a record of edges. Raises `CannotTell` where there are no two."""
    steps = np.diff(channel.clock())
    steps = steps[steps > 0]
    if not steps.size:
        raise CannotTell(f"channel {channel.name!r} holds no two changes")
    return float(steps.min())
