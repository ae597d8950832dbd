"""Fault codes: decoding, reports of any scan tool as text, live reading over CAN, before and after."""

from halfsplit.scan.codes import FaultCode, Status
from halfsplit.scan.compare import Comparison, compare
from halfsplit.scan.reading import ReportedCode
from halfsplit.scan.report import Line, ScanReport
from halfsplit.scan.units import UnitReport, write_report
