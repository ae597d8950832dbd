"""The parasitic draw: a current log read, its levels and wake-ups, its branch, and how long the battery lasts."""

from halfsplit.drain.analysis import CLAMP, INSTRUMENTS, METER, SHUNT, DrainAnalysis, Instrument, analyse
from halfsplit.drain.battery import Cranking, StateOfCharge, judge_cranking, state_of_charge
from halfsplit.drain.branches import CAUTIONS, BranchCurrent, BranchSearch, Fuse, fuse_current
from halfsplit.drain.forecast import Battery, Forecast, days_until_no_start
from halfsplit.drain.log import CurrentLog
from halfsplit.drain.read import parse_log, read_log
