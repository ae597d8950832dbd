"""The verbs that pages, API and commands share, and the views that they show.

Everything goes through a `JobStore`; the diagnosis is made again from what it keeps. Nothing here prints, and nothing
here knows of a browser.
"""

from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.errors import NotFoundError
from halfsplit.job.asides import AlibiCard, TrapCard, TryCard, alibi, expected_volts, trap, try_part
from halfsplit.job.battery import TYPES as BATTERY_TYPES
from halfsplit.job.battery import BatteryState, battery_state
from halfsplit.job.bench import bench_view, own_test
from halfsplit.job.costs import costs_of, on_suspicion, read_money
from halfsplit.job.demo import demo_job
from halfsplit.job.entering import Doubt, read_entry
from halfsplit.job.instruments import INSTRUMENTS, serials_of
from halfsplit.job.instruments import written as written_serials
from halfsplit.job.memory import progress_of
from halfsplit.job.open_job import OpenJob, new_id, now
from halfsplit.job.pictures import DRAWING_CSS, bench_drawing, circuit_drawing, sample_drawing
from halfsplit.job.plain import cause_words, repair_words
from halfsplit.job.reporting import can_print, customer_view, job_view, report_pdf
from halfsplit.job.tapping import Sheet, TapView, tap_view, tapped
from halfsplit.job.verbs import (
    DIAGRAM,
    LONGEST_CIRCUIT,
    add_minutes,
    add_photo,
    close,
    complain_all,
    complain_of_sketch,
    open_job,
    record,
    save_circuit,
    start_step,
    stop_step,
    strike,
    take,
)
from halfsplit.job.views import (
    BenchView,
    Check,
    Costs,
    EvidenceLine,
    FindingCard,
    Meaning,
    SuspectCard,
    TestCard,
)
from halfsplit.notation.checked import Checked, Sample, check_text, sample, samples
from halfsplit.notation.edits import COLOURS
from halfsplit.notation.edits import EMPTY as EMPTY_SHEET
from halfsplit.notation.sketch import SKETCH_LOADS, Sketch, sketch_text
from halfsplit.report import JobView
from halfsplit.store import (
    Attachment,
    AuditEntry,
    Authorisation,
    BatteryReading,
    Complaint,
    Customer,
    EarlierWork,
    EvidenceEntry,
    HowOften,
    Intake,
    Job,
    JobSettings,
    JobState,
    JobStore,
    JobSummary,
    PartUse,
    PartUsed,
    Present,
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
    "BATTERY_TYPES",
    "COLOURS",
    "DIAGRAM",
    "DRAWING_CSS",
    "EMPTY_SHEET",
    "INSTRUMENTS",
    "LONGEST_CIRCUIT",
    "SKETCH_LOADS",
    "AlibiCard",
    "Attachment",
    "AuditEntry",
    "Authorisation",
    "BatteryReading",
    "BatteryState",
    "BenchView",
    "Check",
    "Checked",
    "CircuitError",
    "Complaint",
    "Costs",
    "Customer",
    "Doubt",
    "EarlierWork",
    "EvidenceEntry",
    "EvidenceLine",
    "FindingCard",
    "HowOften",
    "Intake",
    "Job",
    "JobSettings",
    "JobState",
    "JobStore",
    "JobSummary",
    "JobView",
    "Meaning",
    "NotFoundError",
    "OpenJob",
    "PartUse",
    "PartUsed",
    "Present",
    "Problem",
    "Role",
    "Sample",
    "Session",
    "Sheet",
    "Sketch",
    "Step",
    "SuspectCard",
    "TapView",
    "TestCard",
    "TrapCard",
    "TryCard",
    "User",
    "Vehicle",
    "Workshop",
    "add_minutes",
    "add_photo",
    "alibi",
    "battery_state",
    "bench_drawing",
    "bench_view",
    "can_print",
    "cause_words",
    "check_text",
    "circuit_drawing",
    "close",
    "complain_all",
    "complain_of_sketch",
    "costs_of",
    "customer_view",
    "demo_job",
    "expected_volts",
    "export_job",
    "import_job",
    "job_view",
    "new_id",
    "now",
    "on_suspicion",
    "open_job",
    "own_test",
    "progress_of",
    "read_entry",
    "read_money",
    "record",
    "repair_words",
    "report_pdf",
    "sample",
    "sample_drawing",
    "samples",
    "save_circuit",
    "serials_of",
    "sketch_text",
    "start_step",
    "stop_step",
    "strike",
    "take",
    "tap_view",
    "tapped",
    "trap",
    "try_part",
    "written_serials",
]
