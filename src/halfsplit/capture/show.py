"""Results as text for a terminal and as a drawing for a report."""

from collections.abc import Mapping, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from halfsplit.capture.capture import Capture
from halfsplit.capture.channel import Channel
from halfsplit.capture.measure.result import Mark, Result
from halfsplit.capture.roles import COLOURS

_PIXELS: Final = 1500
_MOST_CHANNELS: Final = 8
_MOST_MARKS: Final = 200

DEFER: Final = "The vehicle maker's documentation, local rules and licensed practice come first."

CAUTIONS: Final[dict[str, str]] = {
    "cranking": "Cranking: brake set, out of gear, hands, hair and leads clear of belts; no ammeter in the path.",
    "relative compression": "Cranking: keep the engine from firing as its maker says; clear of belts and fans.",
    "motor current": "Fans start with the key off; fuel pumps: no ignition source, extinguisher at hand.",
    "injector": "Flyback of 60 to 100 V, supplies to 200 V: use an attenuator; open no high-pressure line.",
    "ignition coil": "The primary reaches 300 to 400 V and the secondary can kill: attenuator on the lead, hands off.",
    "charging": "Engine running: clear of belts and fans, mind hot parts and exhaust gas.",
    "crank and cam": "Engine turning: leads clear of belts and fans.",
    "voltage drop": "Never probe restraint or high-voltage circuits.",
    "CAN": "Never probe restraint or high-voltage circuits; do not pierce bus wires.",
    "LIN": "Never probe restraint or high-voltage circuits; do not pierce bus wires.",
}
"""Analysis -> the caution that stands beside its result."""


def report_lines(results: Sequence[Result]) -> list[str]:
    """The results as lines of text, each with its caution, for a terminal."""
    if not results:
        return ["No analysis fits the roles of these channels."]
    lines: list[str] = []
    for result in results:
        lines += result.describe()
        if result.analysis in CAUTIONS:
            lines.append(f"  caution: {CAUTIONS[result.analysis]}")
    return [*lines, DEFER]


def results_dict(results: Sequence[Result]) -> dict[str, Any]:
    """The results for JSON, with cautions."""
    return {
        "results": [result.as_dict() | {"caution": CAUTIONS.get(result.analysis, "")} for result in results],
        "defer": DEFER,
    }


def plot_svg(
    capture: Capture,
    results: Sequence[Result],
    out: str | Path | None = None,
    *,
    roles: Mapping[str, str] | None = None,
) -> bytes:
    """Draw the channels with the spans that the results used; the same input gives the same bytes.

    `roles` (channel name -> role) selects and names the traces; without it the first eight channels are drawn. The SVG
    is returned, and written to `out` if given.
    """
    import matplotlib as mpl
    from matplotlib.figure import Figure  # 0.4 s to import: only when something is drawn

    chosen = list(roles) if roles else [channel.name for channel in capture.channels]
    channels = [capture[name] for name in chosen[:_MOST_CHANNELS]]
    with mpl.rc_context({"svg.hashsalt": "halfsplit", "svg.fonttype": "path", "font.size": 9}):
        figure = Figure(figsize=(10, 1.2 + 1.8 * len(channels)), layout="constrained")
        axes = figure.subplots(len(channels), 1, sharex=True, squeeze=False)[:, 0]
        for i, (channel, axis) in enumerate(zip(channels, axes, strict=True)):
            _trace(
                axis,
                capture,
                channel,
                COLOURS[i % len(COLOURS)],
                (roles or {}).get(channel.name, channel.name),
            )
            _spans(axis, [mark for result in results for mark in result.marks])
        axes[-1].set_xlabel("time in s" if channels[-1].has_time else "sample")
        figure.suptitle("; ".join(f"{result.analysis}: {result.verdict}" for result in results), fontsize=9)
        drawn = BytesIO()
        figure.savefig(drawn, format="svg", metadata={"Date": None})
    if out is not None:
        Path(out).write_bytes(drawn.getvalue())
    return drawn.getvalue()


def _trace(axis: Any, capture: Capture, channel: Channel, colour: str, label: str) -> None:
    start = channel.start if channel.times is None else float(channel.times[0])
    window = capture.window(channel.name, start, max(channel.stop, start + 1e-9), _PIXELS)
    if window.exact:
        style = {"drawstyle": "steps-post"} if channel.edges else {}
        axis.plot(window.times, window.low, color=colour, linewidth=0.8, **style)
    else:
        axis.fill_between(window.times, window.low, window.high, color=colour, linewidth=0.6)
    axis.set_ylabel(f"{label}\n{channel.unit}".rstrip(), rotation=0, ha="right", va="center")
    axis.margins(x=0)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)


def _spans(axis: Any, marks: Sequence[Mark]) -> None:
    for mark in marks[:_MOST_MARKS]:
        if mark.stop > mark.start:
            axis.axvspan(mark.start, mark.stop, facecolor="0.85", edgecolor="0.6", linewidth=0.4, zorder=0)
        else:
            axis.axvline(mark.start, color="0.5", linewidth=0.5, linestyle=":", zorder=0)
