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

from halfsplit.capture.measure.result import CannotTell, Mark, Quantity, Result, Verdict, answers
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
    """Collected while the traces are read, at `rate` samples a second; becomes the frozen result."""

    rate: float
    quantities: list[Quantity] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    def add(self, name: str, value: float, unit: str, uncertainty: float) -> None:
        self.quantities.append(Quantity(name, value, unit, uncertainty))

    def add_mean(self, name: str, part: Floats, unit: str) -> None:
        """With its standard error: what lies 0.05 s apart is taken as independent."""
        error = float(part.std() / np.sqrt(max(part.size / self.rate / 0.05, 1)))
        self.add(name, float(part.mean()), unit, error)

    def value(self, name: str) -> float | None:
        return next((q.value for q in self.quantities if q.name == name), None)

    @property
    def stands_still(self) -> bool:
        """A current without compressions in it that does not fall from its inrush."""
        inrush, mean = self.value("inrush current"), self.value("mean current")
        stays = inrush is not None and mean is not None and mean > 0.8 * inrush
        return stays and not self.value("compressions")

    def current(self, amps: Floats) -> tuple[Floats, Span]:
        """Inrush and mean; the current upright and without its zero error, and where the starter turns."""
        amps, turned = upright(amps)
        notes = self.notes
        if turned:
            side = "the clamp sits the other way round, the sign was turned"
            notes.append(f"the current is negative while cranking: {side}")
        span = by_current(amps, self.rate)
        if span.rest is not None:
            amps = amps - span.rest
            if abs(span.rest) > 5.0:
                notes.append(f"the clamp shows {span.rest:.0f} A before the start: taken as its zero error")
        start = amps[span.first : span.first + int(0.2 * self.rate)]
        if span.onset is None:
            notes.append("the recording starts while the engine turns: no inrush is seen")
        elif clipped(start) > 0.01:
            notes.append("the inrush is clipped: choose a wider range to see it")
        else:
            self.add("inrush current", float(start.max()), "A", noise(amps))
        self.add_mean("mean current", amps[span.steady(self.rate)], "A")
        return amps, span

    def volts(self, volts: Floats, span: Span) -> None:
        """Rest, dip, lowest and mean volts, and whether the engine fired."""
        error = noise(volts)
        if clipped(volts[span.first : span.end]) > 0.02:
            raise CannotTell("the volts are clipped while cranking: choose a wider range")
        even = smooth(volts, max(int(0.002 * self.rate), 1))
        lowest = float(even[span.first : span.end].min())
        if span.onset is not None and span.first > 4:
            rest = float(np.median(volts[: max(span.first - int(0.02 * self.rate), 4)]))
            self.add("rest volts", rest, "V", error)
            self.add("dip", rest - lowest, "V", error)
        self.add("lowest volts", lowest, "V", error)
        self.add_mean("mean cranking volts", volts[span.steady(self.rate)], "V")
        after = volts[span.end + int(0.3 * self.rate) :]
        if after.size > 0.2 * self.rate and float(np.median(after[-int(0.2 * self.rate) :])) > 13.2:
            self.notes.append("the engine fired: the volts rise to charging after the starter lets go")

    def resistance(self, volts: Floats, amps: Floats) -> None:
        """Slope of volts over amps in the ripple, with its error; given only where the ripple is plain."""
        width = max(int(0.01 * self.rate), 1)
        across, along = smooth(volts, width), smooth(amps, width)
        spread = float(along.std())
        if spread < 10.0:
            return
        slope = float(np.cov(across, along)[0, 1] / along.var(ddof=1))
        rest = across - across.mean() - slope * (along - along.mean())
        error = float(rest.std() / spread / np.sqrt(max(volts.size / width / 4, 1)))
        if slope < 0 and error < 0.3 * abs(slope):
            self.add("internal resistance", -slope * 1e3, "mohm", error * 1e3)

    def speed(self, signal: Floats, cylinders: int | None) -> None:
        """The rhythm of the compressions, from the steady part of either trace."""
        try:
            beat = rhythm(signal, self.rate, cylinders)
        except CannotTell as because:
            self.notes.append(f"no speed: {because.message}")
            return
        frequency = 1.0 / beat.period
        error = frequency * 0.02 * max(1.2 - beat.likeness, 0.1)
        self.add("compressions", frequency, "1/s", error)
        if cylinders:
            self.add("cranking speed", 120.0 * frequency / cylinders, "rpm", 120.0 * error / cylinders)
        else:
            self.notes.append("give the number of cylinders for the speed in rpm")

    def judged(self, celsius: float | None, charge: float | None) -> CrankingResult:
        limit, notes = least_volts(celsius), self.notes
        volts, speed = self.value("mean cranking volts"), self.value("cranking speed")
        low, slow = volts is not None and volts < limit, speed is not None and speed < SLOW
        if celsius is None and volts is not None:
            notes.append("the battery's temperature is not known: judged as at 20 °C")
        if charge is not None and charge < 0.75:
            charged = f"the battery is {charge * 100:.0f} % charged"
            notes.append(f"{charged}: charge it and crank again before it is judged")
        shown = ((volts, "{:.2f} V"), (self.value("mean current"), "{:.0f} A"), (speed, "{:.0f} rpm"))
        head = ", ".join(form.format(value) for value, form in shown if value is not None)
        verdict: Verdict = "fault"
        if low and charge is not None and charge < 0.5:
            verdict, reason = "cannot tell", f"the battery is only {charge * 100:.0f} % charged ({head})"
        elif self.stands_still:
            stands = "the current stays as at the start, without a ripple: the engine does not turn"
            reason = f"{head}: {stands}"
        elif low or slow:
            reason = f"{head}: {self.cause(low=low, limit=limit)}"
        elif volts is not None or speed is not None:
            verdict, reason = "good", f"{head}: within the usual limits"
        else:
            verdict, reason = "measured", head
        return CrankingResult(
            verdict=verdict,
            reason=reason,
            quantities=tuple(self.quantities),
            notes=tuple(notes),
            marks=tuple(self.marks),
        )

    def cause(self, *, low: bool, limit: float) -> str:
        """Which side of the circuit to look at: the source, the load, or the path between."""
        if not low and self.value("mean cranking volts") is None:
            return f"slow, under {SLOW:.0f} rpm: record the volts too"
        if not low:
            path = "resistance in the starter's cables, or the starter itself"
            return f"slow although the battery holds its volts: {path}"
        if (ohms := self.value("internal resistance")) is not None:
            source = f"{ohms:.1f} mohm between the volts lead and the current"
            return f"under {limit:.1f} V; the volts fall with the current by {source}"
        return f"under {limit:.1f} V: a weak battery or a starter that takes too much; record the current too"


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
    findings = _Findings(rate)
    if amps is not None:
        amps, span = findings.current(amps)
    elif volts is not None:
        span = by_volts(volts, rate)
    else:
        raise CannotTell("neither battery volts nor starter current was recorded")
    steady = span.steady(rate)
    findings.marks.append(Mark(span.first / rate, span.end / rate, "cranking"))
    if volts is not None:
        findings.volts(volts, span)
    if volts is not None and amps is not None:
        findings.resistance(volts[steady], amps[steady])
    findings.speed(amps[steady] if amps is not None else -volts[steady], cylinders)  # type: ignore[index]
    return findings.judged(celsius, state_of_charge)


def least_volts(celsius: float | None) -> float:
    """The least mean cranking volts of a 12 V battery at its temperature; 20 °C where it is not known."""
    known, volts = zip(*LOWEST_VOLTS, strict=True)
    return float(np.interp(20.0 if celsius is None else celsius, known, volts))
