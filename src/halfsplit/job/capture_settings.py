"""What the technician says of a capture: the role of each channel, its scale, the stretch that is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from halfsplit.capture.measure.voltage_drop import LIMITS as PATHS
from halfsplit.errors import InputError
from halfsplit.store.columns import adapter

LEAST_SPAN: Final = 1e-9


@dataclass(frozen=True)
class CaptureSettings:
    """What the technician says of a capture. ``roles``, ``scale`` (gain and unit) go by the channels' names.

    ``span``: seconds from and to which is measured, None for all. ``path``: of a voltage drop. ``reference``: a known
    good capture as JOB/CAPTURE, against which crank and cam are compared; '' for none. ``bit_rate``: of a bus, in
    bits a second, None where the trace is to tell it.
    """

    roles: Mapping[str, str] = field(default_factory=dict)
    scale: Mapping[str, tuple[float, str]] = field(default_factory=dict)
    rate: float | None = None
    cylinders: int | None = None
    firing_order: tuple[int, ...] = ()
    teeth: int | None = None
    celsius: float | None = None
    path: str = "feed"
    span: tuple[float, float] | None = None
    reference: str = ""
    bit_rate: float | None = None


def settings_from_json(said: Mapping[str, Any]) -> CaptureSettings:
    """The settings that a record of what was shown holds; it has them as `plain` makes them."""
    settings: CaptureSettings = adapter(CaptureSettings).validate_python(said)
    return settings


def checked_settings(settings: CaptureSettings) -> CaptureSettings:
    """The same settings. Raises InputError naming the field that makes no sense."""
    if settings.path not in PATHS:
        raise InputError(f"{settings.path!r} is no path", remedy=f"one of {', '.join(PATHS)}", where="path")
    if settings.span and not settings.span[1] - settings.span[0] > LEAST_SPAN:
        raise InputError("there is nothing between the two cursors", remedy="set them apart", where="span")
    order = settings.firing_order
    if order and settings.cylinders and sorted(order) != list(range(1, settings.cylinders + 1)):
        raise InputError(
            f"the firing order {','.join(map(str, order))} does not name each of {settings.cylinders} cylinders once",
            remedy="write it like 1,3,4,2",
            where="firing order",
        )
    return settings
