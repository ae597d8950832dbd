"""The verbs that pages, API and commands share, and the views that they show.

Everything goes through a `JobStore`; the diagnosis is made again from what it keeps. Nothing here prints, and nothing
here knows of a browser.
"""

from halfsplit.circuit.problems import Problem
from halfsplit.job.asides import TryCard, alibi, trap, try_part
from halfsplit.job.battery import battery_state
from halfsplit.job.bench import bench_view, circuit_view, free_looks
from halfsplit.job.costs import read_money
from halfsplit.job.demo import demo_job
from halfsplit.job.entering import INSTRUMENTS, Doubt, serials_of, usual_instrument, written_serials
from halfsplit.job.open_job import OpenJob, new_id, now
from halfsplit.job.pictures import DRAWING_CSS, bench_drawing
from halfsplit.job.reporting import can_print, job_view, report_pdf
from halfsplit.job.tapping import Sheet, tap_view, tapped
from halfsplit.job.verbs import (
    DIAGRAM,
    LONGEST_CIRCUIT,
    add_minutes,
    add_photo,
    close,
    complain_all,
    open_job,
    record,
    save_circuit,
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
