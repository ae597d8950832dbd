"""The verbs that pages, API and commands share, and the views that they show.

Everything goes through a `JobStore`; the diagnosis is made again from what it keeps. Nothing here prints, and nothing
here knows of a browser.
"""

from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.errors import NotFoundError
from halfsplit.jobs.battery import TYPES as BATTERY_TYPES
from halfsplit.jobs.battery import BatteryState, battery_state
from halfsplit.jobs.bench import bench_view, expected_volts, own_test
from halfsplit.jobs.circuits import COLOURS, SKETCH_LOADS, Checked, Sample, Sketch, check_text, sample, samples, sketch_text
from halfsplit.jobs.costs import costs_of, on_suspicion, read_money
from halfsplit.jobs.demo import demo_job
from halfsplit.jobs.entering import Doubt, read_entry
from halfsplit.jobs.pictures import DRAWING_CSS, bench_drawing, circuit_drawing
from halfsplit.jobs.reporting import can_print, report_pdf
from halfsplit.jobs.verbs import (
    LONGEST_CIRCUIT,
    add_minutes,
    add_photo,
    close,
    complain_all,
    new_id,
    now,
    open_job,
    record,
    save_circuit,
    start_step,
    stop_step,
    strike,
    take,
)
from halfsplit.jobs.views import BenchView, Check, Costs, EvidenceLine, FindingCard, Meaning, SuspectCard, TestCard
from halfsplit.store import (
    Attachment,
    AuditEntry,
    Authorisation,
    BatteryReading,
    Complaint,
    Customer,
    EarlierWork,
    EvidenceEntry,
    Intake,
    Job,
    JobSettings,
    JobState,
    JobStore,
    JobSummary,
    PartUse,
    PartUsed,
    Role,
    Session,
    Step,
    User,
    Vehicle,
    Workshop,
    export_job,
    import_job,
)

__all__ = [
    "BATTERY_TYPES", "COLOURS", "DRAWING_CSS", "LONGEST_CIRCUIT", "SKETCH_LOADS", "Attachment", "AuditEntry", "Authorisation", "BatteryReading", "BatteryState",
    "BenchView", "Check", "Checked", "CircuitError", "Complaint", "Costs", "Customer", "Doubt", "EarlierWork",
    "EvidenceEntry", "EvidenceLine", "FindingCard", "Intake", "Job", "JobSettings", "JobState", "JobStore", "JobSummary",
    "Meaning", "NotFoundError", "PartUse", "PartUsed", "Problem", "Role", "Sample", "Session", "Sketch", "Step", "SuspectCard",
    "TestCard", "User", "Vehicle", "Workshop", "add_minutes", "add_photo", "battery_state", "bench_drawing", "bench_view", "can_print",
    "check_text", "circuit_drawing", "close", "complain_all", "costs_of", "demo_job", "expected_volts", "export_job",
    "import_job", "new_id", "now", "on_suspicion", "open_job", "own_test", "read_entry", "read_money", "record", "report_pdf", "sample",
    "samples", "save_circuit", "sketch_text", "start_step", "stop_step", "strike", "take",
]
