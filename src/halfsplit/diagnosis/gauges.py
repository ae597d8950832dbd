"""What an instrument that is fixed in the circuit shows, sound or lying.

A gauge with an offset shows something near the truth, but not near enough; one that is stuck shows anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from halfsplit.circuit.model import Gauge
from halfsplit.diagnosis.expected import Context, Floats, Numeric, expect_number
from halfsplit.diagnosis.measurement import Measurement
from halfsplit.diagnosis.predict import Scene

ERROR_SHARE = 0.01
"""Standard deviation of a sound gauge whose error the file does not tell, as a share of what it shows."""
OFFSET_SHARE = 0.3
"""Standard deviation of an offset as a share of what the gauge shows when nothing is wrong."""
MODEL_SHARE = 0.1
"""What a fault changes is predicted to within so much of the change, since the file's values are typical ones."""
SLIP = 0.001
"""No hand slips at a gauge that is fixed."""
HEADROOM = 0.6
"""A stuck gauge may show this much more than it does when nothing is wrong."""


def forecast_gauge(measurement: Measurement, context: Context) -> Numeric:
    """What a gauge shows under every column and draw."""
    scene = context.scene(measurement)
    gauge = scene.circuit.model.gauges[measurement.at]
    value = gauge.ratio * SHOWN[gauge.quantity](gauge, scene)
    low, high = _range(gauge, scene, value[context.healthy])
    error = (
        np.full_like(value, gauge.error) if gauge.error is not None else ERROR_SHARE * np.abs(value) + 1e-6
    )
    # A stage is neither good nor bad where a load that it needs has drifted.
    needed = _loads(gauge.place, scene) if gauge.quantity == "stage" else set()
    half_way = scene.columns.where(lambda fault: fault.mode == "drifted" and fault.part in needed)
    stuck, off = (scene.columns.having(gauge.name, (mode,)) for mode in ("stuck", "offset"))
    uncertain = np.repeat((stuck | half_way)[:, None], value.shape[1], axis=1).astype(float)
    change = MODEL_SHARE * np.abs(value - value[context.healthy])
    sound = expect_number(value, np.hypot(error, change), scene, "gauge", uncertain)
    offset = off[:, None] * OFFSET_SHARE * (high - low)
    return Numeric(sound.value, np.hypot(sound.sigma, offset), sound.ghost, low, high, sound.unknown, SLIP)


def _range(gauge: Gauge, scene: Scene, healthy: Floats) -> tuple[float, float]:
    """From what the gauge shows at rest to somewhat more than it shows when nothing is wrong."""
    if gauge.quantity == "stage":
        stage = scene.circuit.model.stages[gauge.place]
        ends = [gauge.ratio * (number or 0.0) for number in (stage.good, stage.bad)]
        span = abs(ends[0] - ends[1])
        return min(ends) - 0.1 * span, max(ends) + HEADROOM * span
    least = 20.0 * gauge.error if gauge.error else 1.0
    size = max(float(np.abs(healthy).max()), least if gauge.quantity != "closed" else 1.0)
    return -0.1 * size, (1.0 + HEADROOM) * size


def _loads(stage: str, scene: Scene) -> set[str]:
    """The parts that a stage needs, through other stages as well."""
    model = scene.circuit.model
    loads: set[str] = set()
    for need in model.stages[stage].needs:
        loads |= _loads(need, scene) if need in model.stages else {need}
    return loads


def _stage(gauge: Gauge, scene: Scene) -> Floats:
    stage = scene.circuit.model.stages[gauge.place]
    return np.where(scene.holds(gauge.place), stage.good or 0.0, stage.bad or 0.0)


SHOWN: Mapping[str, Callable[[Gauge, Scene], Floats]] = {
    "volts": lambda gauge, scene: scene.volts(*scene.circuit.network.between(gauge.place, None)).astype(
        float
    ),
    "amps": lambda gauge, scene: scene.get("amps", scene.circuit.network.element(gauge.place)).astype(float),
    "closed": lambda gauge, scene: scene.closed(gauge.place).astype(float),
    "stage": _stage,
}
