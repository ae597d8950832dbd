"""The cars that stand for what is not known of the one at hand."""

from __future__ import annotations

import numpy as np
import pytest

from halfsplit import Circuit
from halfsplit.circuit.batch import of_faults
from halfsplit.circuit.network import MAY_OPEN

LAMP = """
battery G1 12.6 V 5 mohm
fuse F1 {amps}A
lamp H1 120W
ground E1
G1.+ --[6mm2 0.1m]-- F1 --[6mm2 0.1m]-- H1.1
H1.2 --[6mm2 0.1m]-- E1
G1.- --[25mm2 0.1m]-- E1
state "on"
"""


def cars(text: str, count: int):
    circuit = Circuit.parse(text)
    return circuit.network, circuit.network.draws(np.random.default_rng(7), count)


def test_each_value_takes_every_quantile_once():
    from scipy.stats import kstest, norm  # slow to import

    network, drawn = cars(LAMP.format(amps=15), 16)
    battery = next(number for number, one in enumerate(network.elements) if one.role == "battery")
    for values in (
        [car.emf[battery] for car in drawn],
        [np.log(car.conductance[network.element("H1")]) for car in drawn],
        [car.overload[0] for car in drawn],
    ):
        ordered = np.sort(values)
        assert len(np.unique(ordered)) == 16
    volts = np.array([car.emf[battery] for car in drawn])
    # scipy's normal distribution is the outside reference: no gap between the steps is larger than one stratum.
    assert kstest((volts - 12.6) / 0.15, norm.cdf).statistic == pytest.approx(1 / 32)
    overload = np.array([car.overload[0] for car in drawn])
    assert (overload.min() - MAY_OPEN[0], MAY_OPEN[1] - overload.max()) == pytest.approx((1 / 64, 1 / 64))


@pytest.mark.parametrize(("amps", "least", "most"), [(20, 0, 0), (7.5, 4, 12), (5, 16, 16)])
def test_a_fuse_may_hold_or_blow_between_1_1_and_1_6_times_its_rating(amps, least, most):
    network, drawn = cars(LAMP.format(amps=amps), 16)
    blown = [
        of_faults(
            network.system("on", car),
            [Circuit.parse(LAMP.format(amps=amps)).faults["nothing wrong"]],
        ).blown.any()
        for car in drawn
    ]
    assert least <= sum(blown) <= most
