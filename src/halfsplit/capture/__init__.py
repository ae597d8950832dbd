"""Captures: recorded signals, read from files, measured by role, shown.

capture = Capture.read("start.csv")
roles = suggested_roles(capture) | {"channel 2": "starter current"}
results = analyse(capture, roles, Setup(cylinders=4, firing_order=(1, 3, 4, 2)))
lines = report_lines(results)
"""

from halfsplit.capture.analyse import Setup, analyse, unassigned
from halfsplit.capture.capture import Capture, Window
from halfsplit.capture.channel import Channel
from halfsplit.capture.measure.result import Mark, Quantity, Result
from halfsplit.capture.roles import ROLES, Role, role_named, suggested_roles
from halfsplit.capture.show import plot_svg, report_lines, results_dict
