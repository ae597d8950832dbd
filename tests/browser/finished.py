"""Jobs for the pictures: a demo's job finished from complaint to closing, as a technician would leave it.

Run as a program with a store's URL it fills that store. Everything is invented.
"""

import sys
from decimal import Decimal
from io import BytesIO

import numpy as np
from PIL import Image, ImageDraw

from halfsplit import job as jobs
from halfsplit.job import Authorisation, Customer, JobStore, PartUsed, Workshop
from halfsplit.job.demo import demo_job
from halfsplit.job.open_job import OpenJob
from halfsplit.job.places import from_json
from halfsplit.notation.demos import demo
from halfsplit.practice.vehicle import Vehicle

WHO = "Ada"
MOST = 30


def picture(words: str) -> BytesIO:
    """A photo, as far as a drawing can be one."""
    image = Image.new("RGB", (640, 420), "#20303a")
    pen = ImageDraw.Draw(image)
    pen.rectangle((140, 110, 500, 300), fill="#c9d6c3")
    pen.text((250, 170), words, fill="#101010", font_size=64)
    made = BytesIO()
    image.save(made, "JPEG")
    made.seek(0)
    return made


def shop(store: JobStore) -> None:
    """The workshop's own settings."""
    settings = Workshop(
        name="Hillside Auto Electrics",
        address="4 Mill Lane, Ashcombe",
        contact="01632 960142",
        currency="EUR",
        hourly_rate=Decimal(96),
        serials=jobs.written_serials({"meter": "20417", "test lamp": "TL-3"}),
    )
    store.save_workshop(settings, who=WHO, at=jobs.now())


def finish(
    store: JobStore, name: str = "rear-lamps", job_id: str = "done", *, to_the_end: bool = True
) -> None:
    """The demo's job from its complaint to closing, or to the second look; a simulated vehicle gives the answers."""
    demo_job(store, name, job_id=job_id)
    limit = Authorisation(
        authorisation_id="limit",
        amount=Decimal(200),
        by_whom="R. Ostermann",
        at=jobs.now(),
        who=WHO,
        how="telephone",
    )
    store.authorise(job_id, limit)
    store.set_customer(job_id, Customer(name="R. Ostermann", phone="01632 960877"), who=WHO, at=jobs.now())
    circuit = jobs.check_text(demo(name).text).circuit
    vehicle = Vehicle(circuit, circuit.fault(demo(name).hidden), np.random.default_rng(3), noise=False)
    for number in range(MOST):
        view = jobs.bench_view(OpenJob(store, job_id))
        if view.finding and view.finding.proven:
            break
        entry = _measured(store, job_id, vehicle, view.tests[0].place)
        jobs.add_minutes(
            OpenJob(store, job_id, WHO), view.tests[0].sentence, 4 + number % 3, entry_id=entry.entry_id
        )
        if entry.payload["quantity"] == "volts":
            shown = picture(f"{entry.payload['value']:.2f} V")
            jobs.add_photo(
                OpenJob(store, job_id, WHO), shown, name=f"reading {number + 1}.jpg", entry_id=entry.entry_id
            )
    _repaired(store, job_id, vehicle, to_the_end)


def _measured(store, job_id, vehicle, place):
    value = vehicle.answer(from_json(place))
    typed = value if isinstance(value, str) else "OL" if value == float("inf") else f"{value:.2f}"
    return jobs.record(OpenJob(store, job_id, WHO), place, typed, confirmed=True, present="yes")


def _repaired(store, job_id, vehicle, to_the_end):
    found = jobs.bench_view(OpenJob(store, job_id)).finding
    jobs.take(OpenJob(store, job_id, WHO), "unplugged", {"what": "H1"})
    jobs.take(
        OpenJob(store, job_id, WHO), "declined", {"what": "cleaning the ground point on the left as well"}
    )
    jobs.take(OpenJob(store, job_id, WHO), "repair", {"what": found.repair_done, "part": found.part})
    store.set_state(job_id, "repaired", who=WHO, at=jobs.now())
    vehicle.repair(vehicle.fault.part)
    if not to_the_end:
        return
    for check in jobs.bench_view(OpenJob(store, job_id)).checks:
        _measured(store, job_id, vehicle, check.place)
    for name, _ in jobs.bench_view(OpenJob(store, job_id)).apart:
        jobs.take(OpenJob(store, job_id, WHO), "refitted", {"what": name})
    jobs.add_minutes(OpenJob(store, job_id, WHO), "Ground point cleaned, sealed and tightened", 18)
    for part in (
        PartUsed(
            part_id="nut", name="Ground bolt with nut", price=Decimal("3.40"), serial="", old_part_kept=True
        ),
        PartUsed(part_id="unit", name="Rear lamp unit", price=Decimal("212.00"), use="on suspicion"),
    ):
        store.save_line(job_id, part, who=WHO, at=jobs.now())
    view = jobs.bench_view(OpenJob(store, job_id))
    jobs.close(
        OpenJob(store, job_id, WHO),
        complaint=view.job.intake.complaint.text,
        cause=view.finding.words,
        correction=view.repair,
    )


if __name__ == "__main__":
    with JobStore(sys.argv[1]) as filled:
        shop(filled)
        finish(filled)
