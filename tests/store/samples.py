"""Invented jobs for the tests of the store."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from io import BytesIO

from halfsplit.store import (
    Attachment,
    Authorisation,
    BatteryReading,
    Closing,
    Complaint,
    Customer,
    EarlierWork,
    EvidenceEntry,
    Intake,
    JobSettings,
    JobStore,
    PartUsed,
    Practice,
    ShownResult,
    Step,
    Vehicle,
)

NOW = datetime(2026, 3, 2, 8, 0, 0, 123456, tzinfo=UTC)
JPEG = b"\xff\xd8\xff\xe0" + bytes(range(256)) * 8
CSV = b"time;volts\n0,0;12,6\n0,1;11,9\n"


def later(minutes: float) -> datetime:
    return NOW + timedelta(minutes=minutes)


def intake(text: str = "The rear wiper stops half-way") -> Intake:
    return Intake(
        complaint=Complaint(text=text, when="in the wet", how_often="intermittent"),
        vehicle=Vehicle(
            vin="HSP00000000000001",
            description="small van, 2016",
            registration="ÖX 12",
            odometer=142_300,
        ),
        battery=BatteryReading(volts=12.52, celsius=7.0, type="flooded", rested=True),
        earlier_work=(
            EarlierWork(what="tailgate painted", on=date(2026, 1, 9), by="body shop", touched=("X31", "M9")),
        ),
        settings=JobSettings(
            instruments=("meter", "21 W lamp"), intermittent=True, seed=7, hourly_rate=Decimal("96.50")
        ),
    )


def reading(entry_id: str, volts: float = 0.02, **more) -> EvidenceEntry:
    payload = {"quantity": "volts", "at": "X31.4:in", "to": None, "value": volts, "state": "wiper on"}
    return EvidenceEntry(
        entry_id=entry_id, kind="reading", at=NOW, who="Ada", payload=payload, instrument="meter", **more
    )


def photo(attachment_id: str) -> Attachment:
    return Attachment(attachment_id=attachment_id, kind="photo", name="X31.jpg", at=NOW, who="Ada")


def practice(practice_id: str = "practice-1", **more) -> Practice:
    said = {"person": "Ada", "title": "Rear wiper", "difficulty": "single", "seed": 7, "begun_at": NOW}
    return Practice(practice_id=practice_id, circuit="battery G1", record={"acts": []}, **(said | more))


def fill(store: JobStore, job_id: str = "job-1") -> None:
    """A job with something in every list."""
    store.open_job(job_id, intake(), who="Ada", at=NOW, customer=Customer(name="Ünal", phone="555 0101"))
    store.save_intake(job_id, intake("It stops, and hums"), based_on=1, who="Bo", at=later(1))
    store.save_circuit(job_id, "battery G1", based_on=0, who="Ada", at=later(2))
    store.save_circuit(job_id, "battery G1\nload M9", based_on=1, who="Ada", at=later(3))
    store.attach(job_id, photo("photo-1"), BytesIO(JPEG))
    store.attach(job_id, photo("photo-2"), BytesIO(JPEG))
    capture = Attachment(attachment_id="capture-1", kind="capture", name="drop.csv", at=later(4), who="Ada")
    store.attach(job_id, capture, BytesIO(CSV))
    store.record(job_id, reading("entry-1", present="yes", serial="M-17", attachments=("photo-2", "photo-1")))
    store.record(job_id, reading("entry-2", 11.8))
    store.strike(job_id, "entry-2", entry_id="entry-3", reason="probe slipped", who="Bo", at=later(5))
    step = Step(step_id="step-1", what="halve the feed", who="Ada", started_at=later(1), entry_id="entry-1")
    store.save_line(job_id, step, who="Ada", at=later(1))
    store.save_line(
        job_id, PartUsed(part_id="part-1", name="terminal", price=Decimal("1.20")), who="Ada", at=later(6)
    )
    limit = Authorisation(
        authorisation_id="limit-1", amount=Decimal(180), by_whom="Ünal", how="telephone", at=NOW, who="Bo"
    )
    store.authorise(job_id, limit)
    suspects = {"suspects": [{"part": "X31.4", "probability": 0.93}]}
    store.keep_shown(
        job_id,
        ShownResult(
            what="suspects", document=suspects, engine_version="0.1.0", after=9, who="Ada", at=later(7)
        ),
    )
    store.close_job(
        job_id,
        Closing(complaint="wiper stops", cause="X31.4 spread", correction="terminal", who="Ada", at=later(9)),
    )
    store.practices.begin(practice())
