"""What a report is made from: a job as frozen plain data, every word of it ready to be printed.

Whoever keeps the job (``halfsplit.job``) fills in a `JobView`; everything has a default, so that a job that was only
just taken in prints too. Text is printed as it stands, never read as markup. Moments are text in the workshop's own
time, money is a `Decimal` in ``Money.currency``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from decimal import Decimal
from typing import Literal

from halfsplit.report.signals import CodesView, DrainReport

Phase = Literal["arrival", "search", "proof", "after repair"]
"""When in the job a step was made: as the vehicle came in, to find the cause, to prove it, after the repair."""

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True)
class ShopView:
    """The head of the report."""

    name: str = ""
    address: str = ""
    contact: str = ""


@dataclass(frozen=True, kw_only=True)
class CustomerView:
    """Whom the report is for; all empty where it was erased or never entered."""

    name: str = ""
    phone: str = ""
    email: str = ""
    address: str = ""


@dataclass(frozen=True, kw_only=True)
class VehicleView:
    """The vehicle as it came in. ``odometer`` with its unit ('148,200 km')."""

    description: str = ""
    registration: str = ""
    vin: str = ""
    odometer: str = ""


@dataclass(frozen=True, kw_only=True)
class ComplaintView:
    """The complaint in the customer's own words, when it occurs, and whether always or now and then."""

    words: str = ""
    when: str = ""
    how_often: str = ""


@dataclass(frozen=True, kw_only=True)
class EarlierWorkView:
    """Work done before this job: what, on which day, by whom, and the parts and connectors touched."""

    what: str
    on: str = ""
    by: str = ""
    touched: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PhotoView:
    """A photo: JPEG, PNG, GIF or WebP as bytes, else it is named instead. ``ref``: where it is kept."""

    name: str
    ref: str = ""
    data: bytes = field(default=b"", repr=False)
    caption: str = ""


@dataclass(frozen=True, kw_only=True)
class StepView:
    """One entry of the evidence: something seen, measured, done or said.

    ``what``        what was asked or measured, in words
    ``red``, ``black``  where the two leads were; empty where the instrument has none
    ``reading``     with its unit, or a word ('12.3 V', 'dark')
    ``allowed``     the range that would have been right, and ``allowed_source``: who says so
    ``minutes``     of this step, None where nobody counted
    ``struck``      the reason for which it was struck out; empty where it counts
    ``decisive``    it led to the cause or shows the repair: the customer's page tells it
    ``plain``, ``plain_reading``, ``plain_allowed``  the same in plain words for the customer; empty: as it stands
    """

    at: str
    who: str
    what: str
    phase: Phase = "search"
    minutes: float | None = None
    state: str = ""
    instrument: str = ""
    serial: str = ""
    red: str = ""
    black: str = ""
    reading: str = ""
    allowed: str = ""
    allowed_source: str = ""
    remark: str = ""
    struck: str = ""
    decisive: bool = False
    plain: str = ""
    plain_reading: str = ""
    plain_allowed: str = ""
    photos: tuple[PhotoView, ...] = ()


@dataclass(frozen=True, kw_only=True)
class CheckView:
    """A reading before and after the repair. ``result``: 'good', 'bad', or 'open' where it was not made again.

    ``plain`` and its companions: the same in plain words for the customer; empty: as it stands.
    """

    what: str
    before: str = ""
    after: str = ""
    allowed: str = ""
    allowed_source: str = ""
    plain: str = ""
    plain_before: str = ""
    plain_after: str = ""
    plain_allowed: str = ""
    result: Literal["good", "bad", "open"] = "open"


@dataclass(frozen=True, kw_only=True)
class FindingView:
    """What was found.

    ``cause`` apart from ``consequence`` (what the cause brought about: 'both lamps glowed through each other').
    ``proven``: by measurement; ``shown``: what proof there is; ``missing``: what is not proven; ``declined``: what the
    customer did not want done. ``repair``: the repair that the cause asks for.
    """

    cause: str = ""
    consequence: str = ""
    repair: str = ""
    proven: bool = False
    shown: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    declined: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class SuspectView:
    """A repair that was, or still is, in question. ``probability`` from 0 to 1; ``out``: ruled out."""

    name: str
    probability: float
    repair: str = ""
    for_: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    out: bool = False


@dataclass(frozen=True, kw_only=True)
class PartView:
    """A part that was fitted. ``price`` of one."""

    name: str
    price: Decimal
    quantity: Decimal = Decimal(1)
    number: str = ""
    serial: str = ""
    old_part_kept: bool = False


@dataclass(frozen=True, kw_only=True)
class WorkView:
    """A piece of work with its minutes; None while it runs."""

    what: str
    who: str
    minutes: float | None = None


@dataclass(frozen=True, kw_only=True)
class LimitView:
    """The limit that the customer authorised: how much, by whom, when and how (telephone, signed)."""

    amount: Decimal
    by_whom: str
    at: str
    how: str = ""


@dataclass(frozen=True, kw_only=True)
class MoneyView:
    """The sums. None where no rate is set.

    ``on_suspicion``: what replacing ``on_suspicion_parts`` on suspicion would have cost.
    """

    currency: str = ""
    rate: Decimal | None = None
    minutes: float = 0.0
    work: Decimal | None = None
    parts: Decimal = Decimal(0)
    total: Decimal | None = None
    on_suspicion: Decimal | None = None
    on_suspicion_parts: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class JobView:
    """A whole job. ``as_of``: its last change, with a time zone; the same view always gives the same bytes.

    ``arrival_codes``: fault codes as they were before anything was cleared. ``drawing``: a complete SVG with its
    styles inside. ``work`` and ``steps`` in the order in which they were done. ``refitted``: what was unplugged or
    taken off and is back in place. ``codes``, ``drain``: the scan reports and the
    parasitic draw. ``versions``: name and version of what worked the results out.
    """

    number: str
    as_of: datetime = EPOCH
    opened: str = ""
    closed: str = ""
    state: str = ""
    shop: ShopView = field(default_factory=ShopView)
    customer: CustomerView = field(default_factory=CustomerView)
    vehicle: VehicleView = field(default_factory=VehicleView)
    complaint: ComplaintView = field(default_factory=ComplaintView)
    battery: str = ""
    arrival_codes: tuple[str, ...] = ()
    earlier_work: tuple[EarlierWorkView, ...] = ()
    steps: tuple[StepView, ...] = ()
    finding: FindingView = field(default_factory=FindingView)
    correction: str = ""
    checks: tuple[CheckView, ...] = ()
    unplugged: tuple[str, ...] = ()
    refitted: tuple[str, ...] = ()
    work: tuple[WorkView, ...] = ()
    parts: tuple[PartView, ...] = ()
    limits: tuple[LimitView, ...] = ()
    money: MoneyView = field(default_factory=MoneyView)
    suspects: tuple[SuspectView, ...] = ()
    codes: CodesView = field(default_factory=CodesView)
    drain: DrainReport = field(default_factory=DrainReport)
    photos: tuple[PhotoView, ...] = ()
    drawing: str = ""
    circuit: str = ""
    cautions: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
