"""An invented job, filled to the brim: what every report is looked at with."""

from dataclasses import replace
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from io import BytesIO

from PIL import Image, ImageDraw

from halfsplit import Circuit
from halfsplit.drawing import draw
from halfsplit.notation.demos import demo
from halfsplit.report import CheckView, Costs, FindingView, JobView, PhotoView, StepView, SuspectView
from halfsplit.report.signals import BranchLine, ChangeLine, CodeLine, CodesView, DrainReport, ScanView
from halfsplit.store import (
    Authorisation,
    Complaint,
    Customer,
    EarlierWork,
    PartUsed,
    Step,
    Vehicle,
    Workshop,
)

CODES = CodesView(
    scans=(
        ScanView(
            title="As it came in",
            read="arrival.txt, pasted, 2 Mar 2026 08:05, Ada",
            codes=(CodeLine(unit="Body", code="B1044-13", words="circuit open", status="confirmed"),),
            silent=("Tailgate unit",),
            units=2,
            remarks=("Not understood: line 4.",),
        ),
    ),
    compared="arrival.txt against after.txt",
    changes=(ChangeLine(verdict="gone", unit="Body", code="B1044-13", before="confirmed"),),
    answers_now=("Tailgate unit",),
    not_read=("Trailer",),
    cleared=("2 Mar 2026 11:00: Body: clear B1044-13, confirmed by Ada: cleared",),
)
DRAIN = DrainReport(
    log="night.csv, 2 Mar 2026 07:00, Ada",
    verdict="62 mA asleep, more than the usual 50 mA.",
    facts=(("Asleep", "62.0 mA"), ("A day", "2.16 Ah")),
    wakes=(("4", "3 min", "1.26 A", "2 h", "60 mAh", "29 %"),),
    battery="71 % charged",
    forecast="About 2.3 days",
    total="62.0 mA asleep, from the log",
    branches=(
        BranchLine(fuse="F1", rating="10", millivolts="0.45", current="58.4 mA", units="A2 body unit"),
    ),
    explained="58 of 62 mA found",
    suspects=(("F1", 0.93),),
    remarks=("1 gap of 900 s.",),
    cautions=("Do not pull fuses while you search.",),
    plot='<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 76 33"><path d="M0 0H9"/></svg>',
)


@cache
def picture(
    words: str, colour: str = "#8899aa", size: tuple[int, int] = (1600, 1200), form: str = "JPEG"
) -> bytes:
    image = Image.new("RGB", size, colour)
    ImageDraw.Draw(image).text((size[0] // 4, size[1] // 2), words, fill="white", font_size=size[0] // 14)
    made = BytesIO()
    image.save(made, form)
    return made.getvalue()


def sample(*, drawing: bool = False) -> JobView:
    """The rear lamps of demonstration circuit (a), from taking in to the bill."""
    svg = ""
    if drawing:
        circuit = Circuit.parse(demo("rear-lamps").text)
        svg = draw(circuit.model, standalone=True, suspicion={"E5": 0.98}, readings={"E5": "7.9 V"}).svg
    ground = StepView(
        at="24 Nov 2026 10:02",
        who="Ines",
        what="State “brake”: measure volts from E5 to battery negative post.",
        phase="search",
        minutes=11.5,
        state="brake",
        instrument="meter",
        serial="MM-2231",
        red="E5",
        black="battery negative post",
        reading="7.9 V",
        allowed="0 to 0.1 V",
        allowed_source="circuit solution, healthy",
        decisive=True,
        plain="Voltage left over at the ground point behind the right rear lamp, brake pressed",
        photos=(PhotoView(name="IMG_0413.jpg", data=picture("7.9 V at E5")),),
    )
    return JobView(
        number="127",
        as_of=datetime(2026, 11, 24, 15, 40, tzinfo=UTC),
        opened="24 Nov 2026 09:31",
        closed="24 Nov 2026 15:40",
        state="closed",
        shop=Workshop(
            name="Fennmoor Autoelectrics",
            address="Millrace 4, Fennmoor",
            contact="0555 0100 · desk@fennmoor.example",
        ),
        customer=Customer(name="Harbour Bakery, Mr Okonjo", phone="0555 0142", address="Quay 9, Fennmoor"),
        vehicle=Vehicle(
            description="Panel van, 2.5 t",
            registration="FM 20 BAK",
            vin="ZZZ00DEM0A0127001",
            odometer=148_200,
        ),
        complaint=Complaint(
            text="Since the body shop had it, the right tail lamp is dim, and when I brake, other "
            "lamps back there light up too.",
            when="every evening, wet or dry",
            how_often="always",
        ),
        battery="12.62 V, 11 °C, AGM, rested overnight",
        arrival_codes=("A4 trailer unit: none", "A1 body unit: tail lamp right, circuit range (stored)"),
        earlier_work=(
            EarlierWork(
                what="right rear corner replaced and painted",
                on=date(2026, 11, 3),
                by="a body shop",
                touched=("E5", "X40"),
            ),
            EarlierWork(
                what="brake lamp replaced", on=date(2026, 11, 10), by="the customer", touched=("H2",)
            ),
        ),
        steps=(
            StepView(
                at="24 Nov 2026 09:40",
                who="Ines",
                what="H2 (brake lamp, right): works weakly",
                phase="arrival",
                minutes=2,
                state="brake",
                reading="weak",
            ),
            StepView(
                at="24 Nov 2026 09:52",
                who="Ines",
                what="State “brake”: measure volts from X40.2 to battery negative post.",
                minutes=4.5,
                state="brake",
                instrument="meter",
                serial="MM-2231",
                red="X40.2",
                black="battery negative post",
                reading="0.2 V",
                allowed="11.9 to 12.6 V",
                allowed_source="circuit solution, healthy",
                struck="probe slipped beside the cavity",
            ),
            StepView(
                at="24 Nov 2026 09:55",
                who="Ines",
                what="State “brake”: measure volts from X40.2 to battery negative post.",
                minutes=1.5,
                state="brake",
                instrument="meter",
                serial="MM-2231",
                red="X40.2",
                black="battery negative post",
                reading="12.3 V",
                allowed="11.9 to 12.6 V",
                decisive=True,
                allowed_source="circuit solution, healthy",
                plain="Voltage arriving at the right rear lamps, brake pressed",
            ),
            ground,
            replace(
                ground,
                at="24 Nov 2026 10:06",
                what="The same, probed anew",
                phase="proof",
                minutes=1.5,
                photos=(),
                reading="7.8 V",
                decisive=False,
            ),
            StepView(
                at="24 Nov 2026 10:11",
                who="Ines",
                what="Bridge E5 to bare metal with a fused lead: does H2 (brake lamp, right) work?",
                phase="proof",
                minutes=3,
                state="brake",
                reading="yes",
                decisive=True,
                plain="With a wire bridging that ground point the brake lamp is bright",
                photos=(PhotoView(name="bridge.png", data=picture("bridged", "#446655", form="PNG")),),
            ),
            replace(
                ground,
                at="24 Nov 2026 11:15",
                phase="after repair",
                minutes=1.5,
                reading="0.03 V",
                decisive=False,
                photos=(PhotoView(name="IMG_0420.jpg", data=picture("0.03 V", "#665544")),),
            ),
        ),
        finding=FindingView(
            cause="The ground bolt behind the right rear lamp (E5) sits on fresh paint.",
            consequence="The lamps of that corner found their way to ground through each other.",
            repair="clean and refit ground E5",
            proven=True,
            shown=(
                "its own voltage drop: 7.9 V and 7.8 V of 12.3 V, with the lamp on",
                "bridged, the brake lamp is bright",
            ),
            declined=("a look at the left rear ground, made in the same body shop",),
        ),
        correction="Seat of the ground bolt stripped to bare metal, bolt and ring terminal renewed, sealed.",
        checks=(
            CheckView(
                what="Volts from E5 to battery negative, brake pressed",
                before="7.9 V",
                after="0.03 V",
                allowed="0 to 0.1 V",
                allowed_source="circuit solution",
                result="good",
            ),
            CheckView(what="Brake lamp, right", before="weak", after="yes", allowed="yes", result="good"),
            CheckView(what="Indicator, right rear", before="weak", allowed="yes", result="open"),
        ),
        unplugged=("X40", "side trim of the load space"),
        refitted=("X40", "side trim of the load space"),
        work=(
            Step(step_id="s1", what="Diagnosis", who="Ines", minutes=34),
            Step(step_id="s2", what="Repair and second look", who="Ines", minutes=26),
        ),
        parts=(
            PartUsed(part_id="p1", name="Ring terminal M6", part_number="RT-6-25", price=Decimal("1.20")),
            PartUsed(
                part_id="p2",
                name="Ground bolt M6 with serrated flange",
                price=Decimal("2.40"),
                serial="lot 0815",
                old_part_kept=True,
            ),
        ),
        limits=(
            Authorisation(
                authorisation_id="a1",
                amount=Decimal(150),
                by_whom="Mr Okonjo",
                at=datetime(2026, 11, 24, 9, 35, tzinfo=UTC),
                who="Ines",
                how="by telephone",
            ),
        ),
        money=Costs(
            currency="EUR",
            rate=Decimal(96),
            minutes=60,
            work=Decimal(96),
            parts=Decimal("3.60"),
            total=Decimal("99.60"),
            on_suspicion=Decimal("214.00"),
            lines=(
                PartUsed(part_id="p3", name="right rear lamp unit", price=Decimal(214), use="on suspicion"),
            ),
        ),
        codes=CODES,
        drain=DRAIN,
        suspects=(
            SuspectView(
                name="E5 (behind the right rear lamp)",
                probability=0.984,
                repair="clean and refit ground E5",
                for_=("7.9 V at E5 (brake)", "H6 works (brake)"),
            ),
            SuspectView(
                name="X40.5",
                probability=0.011,
                repair="renew the contact",
                for_=("H2 works weakly (brake)",),
                against=("7.9 V at E5 (brake)",),
                out=True,
            ),
        ),
        drawing=svg,
        circuit="Rear lamps, panel van back from the body shop" if svg else "",
        cautions=(
            "Tailgate up: prop it.",
            "Jump with a fused lead of the circuit's rating, never a module's output.",
        ),
        versions=(("halfsplit", "0.1.0"), ("priors", "1")),
    )
