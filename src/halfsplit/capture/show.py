"""Results as text for a terminal and as a drawing for a report."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from halfsplit.capture.capture import Capture
from halfsplit.capture.channel import Channel
from halfsplit.capture.measure.result import Mark, Result
from halfsplit.capture.roles import COLOURS, TABLES

_PIXELS: Final = 1500
_MOST_CHANNELS: Final = 8
_MOST_MARKS: Final = 200

DEFER: Final = "The vehicle maker's documentation, local rules and licensed practice come first."

CAUTIONS: Final[dict[str, str]] = TABLES["cautions"]
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
    title = "; ".join(f"{result.analysis}: {result.verdict}" for result in results)
    marks = [mark for result in results for mark in result.marks]
    drawn = _drawn(capture, roles or {}, marks, Frame(title=title), "svg")
    if out is not None:
        Path(out).write_bytes(drawn)
    return drawn


@dataclass(frozen=True)
class Frame:
    """What of a capture is drawn: from `start` to `stop` seconds (None: all of it), with `cursors` at times.

    `reference` is another capture whose channels of the same roles lie behind, `shift` seconds later.
    """

    title: str = ""
    start: float | None = None
    stop: float | None = None
    cursors: tuple[float, ...] = ()
    reference: Capture | None = None
    reference_roles: Mapping[str, str] = field(default_factory=dict)
    shift: float = 0.0


def plot_png(capture: Capture, marks: Sequence[Mark], roles: Mapping[str, str], frame: Frame) -> bytes:
    """A picture for the record: the traces as a screen showed them, on white, with marks and cursors."""
    return _drawn(capture, roles, marks, frame, "png")


def _drawn(
    capture: Capture, roles: Mapping[str, str], marks: Sequence[Mark], frame: Frame, kind: str
) -> bytes:
    import matplotlib as mpl
    from matplotlib.figure import Figure  # 0.4 s to import: only when something is drawn

    chosen = list(roles) if roles else [channel.name for channel in capture.channels]
    channels = [capture[name] for name in chosen[:_MOST_CHANNELS]]
    with mpl.rc_context({"svg.hashsalt": "halfsplit", "svg.fonttype": "path", "font.size": 9}):
        figure = Figure(figsize=(10, 1.2 + 1.8 * len(channels)), layout="constrained", dpi=110)
        axes = figure.subplots(len(channels), 1, sharex=True, squeeze=False)[:, 0]
        for i, (channel, axis) in enumerate(zip(channels, axes, strict=True)):
            label = roles.get(channel.name, channel.name)
            _behind(axis, label, frame)
            _trace(axis, capture, channel, COLOURS[i % len(COLOURS)], label, frame)
            for mark in marks[:_MOST_MARKS]:
                if mark.stop > mark.start:
                    axis.axvspan(
                        mark.start, mark.stop, facecolor="0.85", edgecolor="0.6", linewidth=0.4, zorder=0
                    )
                else:
                    axis.axvline(mark.start, color="0.5", linewidth=0.5, linestyle=":", zorder=0)
            for number, cursor in enumerate(frame.cursors, start=1):
                axis.axvline(cursor, color="0.25", linewidth=1.0)
                axis.annotate(f" {number}", (cursor, 1.0), xycoords=("data", "axes fraction"), va="top")
        axes[-1].set_xlabel("time in s" if channels[-1].has_time else "sample")
        if frame.start is not None and frame.stop is not None:
            axes[-1].set_xlim(frame.start, frame.stop)
        figure.suptitle(frame.title, fontsize=9)
        drawn = BytesIO()
        figure.savefig(drawn, format=kind, metadata={"Date": None} if kind == "svg" else None)
    return drawn.getvalue()


def _behind(axis: Any, role: str, frame: Frame) -> None:
    """The reference's channel of this role, in grey."""
    name = next((name for name, part in frame.reference_roles.items() if part == role), None)
    if frame.reference is None or name is None:
        return
    channel, shift = frame.reference[name], frame.shift
    moved = Frame(
        start=None if frame.start is None else frame.start - shift,
        stop=None if frame.stop is None else frame.stop - shift,
    )
    _trace(axis, frame.reference, channel, "0.6", role, moved, later=shift)


def _trace(
    axis: Any, capture: Capture, channel: Channel, colour: str, label: str, frame: Frame, later: float = 0.0
) -> None:
    first = channel.start if channel.times is None else float(channel.times[0])
    start = first if frame.start is None else frame.start
    stop = max(channel.stop, start + 1e-9) if frame.stop is None else frame.stop
    window = capture.window(channel.name, start, stop, _PIXELS)
    times = window.times + later
    if window.exact:
        style = {"drawstyle": "steps-post"} if channel.edges else {}
        axis.plot(times, window.low, color=colour, linewidth=0.8, **style)
    else:
        axis.fill_between(times, window.low, window.high, color=colour, linewidth=0.6)
    axis.set_ylabel(f"{label}\n{channel.unit}".rstrip(), rotation=0, ha="right", va="center")
    axis.margins(x=0)
    for side in ("top", "right"):
        axis.spines[side].set_visible(False)
