"""The demo job: taken in, with its circuit and the complaint. The demo, its vehicle and its people are invented."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from decimal import Decimal

from halfsplit.errors import NotFoundError
from halfsplit.job.open_job import OpenJob, now
from halfsplit.job.verbs import add_minutes, complain_all, open_job
from halfsplit.notation.demos import Demo, demos
from halfsplit.notation.demos import demo as demo_named
from halfsplit.store import (
    BatteryReading,
    Complaint,
    Customer,
    EarlierWork,
    Intake,
    Job,
    JobSettings,
    JobStore,
    Vehicle,
)

WHO = "demo"


def demo_job(store: JobStore, name: str = "", *, job_id: str = "demo") -> Job:
    """Open the demo job; where it is there already it is left as it stands."""
    with suppress(NotFoundError):
        return store.job(job_id)
    demo = demo_named(name) if name else demos()[0]
    open_job(
        store,
        _intake(demo),
        who=WHO,
        job_id=job_id,
        circuit=demo.text,
        customer=Customer(name="R. Ostermann"),
    )
    said = [(complaint.part, complaint.works, complaint.state) for complaint in demo.complaints]
    complain_all(OpenJob(store, job_id, WHO), said, at=now() - timedelta(minutes=4))
    add_minutes(OpenJob(store, job_id, WHO), "Taken in, complaint tried out", 6)
    return store.job(job_id)


def _intake(demo: Demo) -> Intake:
    return Intake(
        complaint=Complaint(text=demo.customer, how_often="always"),
        vehicle=Vehicle(description=demo.vehicle, odometer=demo.odometer_km),
        battery=BatteryReading(volts=12.55, celsius=18.0, type="flooded", rested=True),
        earlier_work=tuple(
            EarlierWork(
                what=work.words,
                touched=(work.place,),
                on=now().date() - timedelta(weeks=work.weeks_ago),
                began_then=work.complaint_began,
            )
            for work in demo.earlier_work
        ),
        settings=JobSettings(
            instruments=("meter", "test lamp", "21 W lamp"), currency="EUR", hourly_rate=Decimal(96)
        ),
    )
