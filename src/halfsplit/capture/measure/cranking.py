"""Cranking: what the battery gives and the starter takes, and how fast the engine turns.

The starter at rest is a short circuit of a few milliohms: the inrush is battery volts over all resistance of the
circuit. As it turns its back-EMF grows and the current falls to what friction and compression ask for. Volts and
amps at the battery lie on a line whose slope is the battery's internal resistance (with the leads that lie between
the two points of measurement); the ripple itself draws that line.

Limits (common practice, no source): 9.6 V at 20 °C, less in the cold (the steps of the usual battery test, from
memory); 150 rpm at least, 200 to 300 as a rule.
"""

from dataclasses import dataclass, field
from typing import ClassVar, Final

import numpy as np

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, answers
from halfsplit.capture.measure.signal import Floats, clipped, noise, require, smooth
from halfsplit.capture.measure.starting import LEAST_RATE, Span, by_current, by_volts, rhythm, upright

LOWEST_VOLTS: Final = (
    (-18.0, 8.5),
    (-12.0, 8.7),
    (-7.0, 8.9),
    (-1.0, 9.1),
    (4.0, 9.3),
    (10.0, 9.4),
    (20.0, 9.6),
)
"""Battery temperature in °C, least mean cranking volts of a 12 V battery. From memory, common practice."""

SLOW: Final = 150.0
"""rpm under which a petrol or diesel engine is unlikely to start. Common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class CrankingResult(Result):
    """Quantities as far as the traces carry them: rest, dip, lowest and mean volts, currents, speed, resistance."""

    analysis: ClassVar[str] = "cranking"


@dataclass
class _Findings:
    """Collected while the traces are read; becomes the frozen result."""

    quantities: list[Quantity] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    @property
    def stands_still(self) -> bool:
        """A current without compressions in it that does not fall from its inrush."""
        inrush, mean = self.value("inrush current"), self.value("mean current")
        return (
            inrush is not None and mean is not None and mean > 0.8 * inrush and not self.value("compressions")
        )

    def add(self, name: str, value: float, unit: str, uncertainty: float) -> None:
        self.quantities.append(Quantity(name, value, unit, uncertainty))

    def value(self, name: str) -> float | None:
        return next((q.value for q in self.quantities if q.name == name), None)


@answers(CrankingResult)
def cranking(
    volts: Floats | None,
    amps: Floats | None,
    rate: float,
    *,
    cylinders: int | None = None,
    celsius: float | None = None,
    state_of_charge: float | None = None,
) -> CrankingResult:
    """Battery volts and starter amps (either may be None) at `rate` samples a second.

    `celsius` is the battery's temperature and `state_of_charge` its charge, 0 to 1; both serve the verdict.
    """
    require(rate, volts, amps, least_rate=LEAST_RATE, least_seconds=0.5, what="cranking")
    findings = _Findings()
    if amps is not None:
        amps, span = _current(amps, rate, findings)
    elif volts is not None:
        span = by_volts(volts, rate)
    else:
        raise CannotTell("neither battery volts nor starter current was recorded")
    steady = _steady(span, rate)
    findings.marks.append(Mark(span.first / rate, span.end / rate, "cranking"))
    if volts is not None:
        _volts(volts, span, steady, rate, findings)
    if volts is not None and amps is not None:
        _resistance(volts[steady], amps[steady], rate, findings)
    _speed(amps if amps is not None else -volts, steady, rate, cylinders, findings)  # type: ignore[operator]
    return _judged(findings, celsius, state_of_charge)


def _current(amps: Floats, rate: float, findings: _Findings) -> tuple[Floats, Span]:
    amps, turned = upright(amps)
    if turned:
        findings.notes.append(
            "the current is negative while cranking: the clamp sits the other way round, the sign was turned"
        )
    span = by_current(amps, rate)
    if span.rest is not None:
        amps = amps - span.rest
        if abs(span.rest) > 5.0:
            findings.notes.append(
                f"the clamp shows {span.rest:.0f} A before the start: taken as its zero error"
            )
    part = amps[_steady(span, rate)]
    error = noise(amps)
    if span.onset is None:
        findings.notes.append("the recording starts while the engine turns: no inrush is seen")
    elif clipped(amps[span.first : span.first + int(0.2 * rate)]) > 0.01:
        findings.notes.append("the inrush is clipped: choose a wider range to see it")
    else:
        findings.add(
            "inrush current", float(amps[span.first : span.first + int(0.2 * rate)].max()), "A", error
        )
    findings.add(
        "mean current", float(part.mean()), "A", float(part.std() / np.sqrt(max(part.size / rate / 0.05, 1)))
    )
    return amps, span


def _steady(span: Span, rate: float) -> slice:
    """From 0.35 s after the start, or a third of the span if that is shorter, to a little before the end."""
    skip = min(int(0.35 * rate), (span.end - span.first) // 3) if span.onset is not None else 0
    return slice(span.first + skip, max(span.end - int(0.03 * rate), span.first + skip + 8))


def _volts(volts: Floats, span: Span, steady: slice, rate: float, findings: _Findings) -> None:
    part = volts[steady]
    error = noise(volts)
    if clipped(volts[span.first : span.end]) > 0.02:
        raise CannotTell("the volts are clipped while cranking: choose a wider range")
    even = smooth(volts, max(int(0.002 * rate), 1))
    lowest = float(even[span.first : span.end].min())
    if span.onset is not None and span.first > 4:
        rest = float(np.median(volts[: max(span.first - int(0.02 * rate), 4)]))
        findings.add("rest volts", rest, "V", error)
        findings.add("dip", rest - lowest, "V", error)
    findings.add("lowest volts", lowest, "V", error)
    findings.add(
        "mean cranking volts",
        float(part.mean()),
        "V",
        float(part.std() / np.sqrt(max(part.size / rate / 0.05, 1))),
    )
    after = volts[span.end + int(0.3 * rate) :]
    if after.size > 0.2 * rate and float(np.median(after[-int(0.2 * rate) :])) > 13.2:
        findings.notes.append("the engine fired: the volts rise to charging after the starter lets go")


def _resistance(volts: Floats, amps: Floats, rate: float, findings: _Findings) -> None:
    """Slope of volts over amps in the ripple, with its error; given only where the ripple is plain."""
    width = max(int(0.01 * rate), 1)
    across, along = smooth(volts, width), smooth(amps, width)
    spread = float(along.std())
    if spread < 10.0:
        return
    slope = float(np.cov(across, along)[0, 1] / along.var(ddof=1))
    rest = across - across.mean() - slope * (along - along.mean())
    error = float(rest.std() / spread / np.sqrt(max(volts.size / width / 4, 1)))
    if slope < 0 and error < 0.3 * abs(slope):
        findings.add("internal resistance", -slope * 1e3, "mohm", error * 1e3)


def _speed(signal: Floats, steady: slice, rate: float, cylinders: int | None, findings: _Findings) -> None:
    try:
        beat = rhythm(signal[steady], rate, cylinders)
    except CannotTell as because:
        findings.notes.append(f"no speed: {because.message}")
        return
    frequency = 1.0 / beat.period
    error = frequency * 0.02 * max(1.2 - beat.likeness, 0.1)
    findings.add("compressions", frequency, "1/s", error)
    if cylinders:
        findings.add("cranking speed", 120.0 * frequency / cylinders, "rpm", 120.0 * error / cylinders)
    else:
        findings.notes.append("give the number of cylinders for the speed in rpm")


def least_volts(celsius: float | None) -> float:
    """The least mean cranking volts of a 12 V battery at its temperature; 20 °C where it is not known."""
    if celsius is None:
        return LOWEST_VOLTS[-1][1]
    return float(np.interp(celsius, [t for t, _ in LOWEST_VOLTS], [v for _, v in LOWEST_VOLTS]))


def _judged(findings: _Findings, celsius: float | None, charge: float | None) -> CrankingResult:
    limit = least_volts(celsius)
    volts, speed, amps = (
        findings.value("mean cranking volts"),
        findings.value("cranking speed"),
        findings.value("mean current"),
    )
    low, slow = volts is not None and volts < limit, speed is not None and speed < SLOW
    notes = list(findings.notes)
    if celsius is None and volts is not None:
        notes.append("the battery's temperature is not known: judged as at 20 °C")
    if charge is not None and charge < 0.75:
        notes.append(
            f"the battery is {charge * 100:.0f} % charged: charge it and crank again before it is judged"
        )
    head = ", ".join(
        text
        for text in (
            f"{volts:.2f} V" if volts is not None else "",
            f"{amps:.0f} A" if amps is not None else "",
            f"{speed:.0f} rpm" if speed is not None else "",
        )
        if text
    )
    if low and charge is not None and charge < 0.5:
        verdict, reason = "cannot tell", f"the battery is only {charge * 100:.0f} % charged ({head})"
    elif findings.stands_still:
        verdict, reason = (
            "fault",
            f"{head}: the current stays as at the start, without a ripple: the engine does not turn",
        )
    elif low or slow:
        verdict, reason = "fault", f"{head}: {_cause(findings, low=low, slow=slow, limit=limit)}"
    else:
        known = volts is not None or speed is not None
        verdict, reason = (
            ("good" if known else "measured"),
            f"{head}: within the usual limits" if known else head,
        )
    return CrankingResult(
        verdict=verdict,  # type: ignore[arg-type]
        reason=reason,
        quantities=tuple(findings.quantities),
        notes=tuple(notes),
        marks=tuple(findings.marks),
    )


def _cause(findings: _Findings, *, low: bool, slow: bool, limit: float) -> str:
    """Which side of the circuit to look at: the source, the load, or the path between."""
    ohms = findings.value("internal resistance")
    if not low:
        known = findings.value("mean cranking volts") is not None
        ask = "resistance in the starter's cables, or the starter itself" if known else "record the volts too"
        return (
            f"slow although the battery holds its volts: {ask}"
            if known
            else f"slow, under {SLOW:.0f} rpm: {ask}"
        )
    if ohms is not None:
        source = f"{ohms:.1f} mohm between the volts lead and the current"
        return f"under {limit:.1f} V; the volts fall with the current by {source}"
    return f"under {limit:.1f} V: a weak battery or a starter that takes too much; record the current too"
