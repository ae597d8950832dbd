"""The verbs that pages, API and commands share, and the views that they show.

Everything goes through a `JobStore`; the diagnosis is made again from what it keeps. Nothing here prints, and nothing
here knows of a browser.
"""

from halfsplit.circuit.problems import Problem
from halfsplit.job.asides import AlibiCard, TrapCard, TryCard, alibi, expected_volts, trap, try_part
from halfsplit.job.battery import BatteryState, battery_state
from halfsplit.job.bench import bench_view, circuit_view, own_test
from halfsplit.job.costs import read_money
from halfsplit.job.demo import demo_job
from halfsplit.job.diagram_picture import PagePicture
from halfsplit.job.diagrams import (
    DiagramView,
    add_page,
    change_marks,
    diagram_view,
    marked_pages,
    page_picture,
    set_corners,
    take_circuit,
)
from halfsplit.job.entering import Doubt
from halfsplit.job.harness import HARNESS_KINDS, HarnessView, harness_view, keep_harness
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
    CircuitView,
    EvidenceLine,
    FindingCard,
    SuspectCard,
    TestCard,
    circuit_said,
)
from halfsplit.notation.checked import Checked, check_text
from halfsplit.notation.edits import EMPTY as EMPTY_SHEET
from halfsplit.notation.library import Sample, sample, samples
from halfsplit.notation.sketch import Sketch, sketch_text
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
    User,
    Vehicle,
    Workshop,
    export_job,
    import_job,
)

__all__ = [
    "DIAGRAM",
    "DRAWING_CSS",
    "EMPTY_SHEET",
    "HARNESS_KINDS",
    "INSTRUMENTS",
    "LONGEST_CIRCUIT",
    "AlibiCard",
    "Attachment",
    "AuditEntry",
    "Authorisation",
    "BatteryReading",
    "BatteryState",
    "BenchView",
    "Checked",
    "CircuitView",
    "Complaint",
    "Customer",
    "DiagramView",
    "Doubt",
    "EarlierWork",
    "EvidenceEntry",
    "EvidenceLine",
    "FindingCard",
    "HarnessView",
    "HowOften",
    "Intake",
    "Job",
    "JobSettings",
    "JobState",
    "JobStore",
    "JobSummary",
    "JobView",
    "OpenJob",
    "PagePicture",
    "PartUse",
    "PartUsed",
    "Present",
    "Problem",
    "Role",
    "Sample",
    "Session",
    "Sheet",
    "Sketch",
    "SuspectCard",
    "TapView",
    "TestCard",
    "TrapCard",
    "TryCard",
    "User",
    "Vehicle",
    "Workshop",
    "add_minutes",
    "add_page",
    "add_photo",
    "alibi",
    "battery_state",
    "bench_drawing",
    "bench_view",
    "can_print",
    "cause_words",
    "change_marks",
    "check_text",
    "circuit_drawing",
    "circuit_said",
    "circuit_view",
    "close",
    "complain_all",
    "complain_of_sketch",
    "customer_view",
    "demo_job",
    "diagram_view",
    "expected_volts",
    "export_job",
    "harness_view",
    "import_job",
    "job_view",
    "keep_harness",
    "marked_pages",
    "new_id",
    "now",
    "open_job",
    "own_test",
    "page_picture",
    "progress_of",
    "read_money",
    "record",
    "repair_words",
    "report_pdf",
    "sample",
    "sample_drawing",
    "samples",
    "save_circuit",
    "serials_of",
    "set_corners",
    "sketch_text",
    "start_step",
    "stop_step",
    "strike",
    "take",
    "take_circuit",
    "tap_view",
    "tapped",
    "trap",
    "try_part",
    "written_serials",
]
