"""Time and money: minutes per step, the hourly rate, parts; what replacing on suspicion would have cost beside them."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from typing import get_args

from halfsplit.errors import InputError
from halfsplit.report import Costs
from halfsplit.store import Job, JobStore, PartUse

CENT = Decimal("0.01")
LARGEST_SUM = Decimal(10_000_000)


def costs_of(store: JobStore, job: Job) -> Costs:
    """What the job took so far. The rate agreed for the job counts before the workshop's."""
    workshop = store.workshop()
    settings = job.intake.settings
    rate = settings.hourly_rate if settings.hourly_rate is not None else workshop.hourly_rate
    steps = tuple(step for step in store.steps(job.job_id) if not step.withdrawn)
    lines = tuple(part for part in store.parts(job.job_id) if not part.withdrawn)
    minutes = sum(step.minutes or 0.0 for step in steps)
    sums = {
        use: money(sum((part.price * part.quantity for part in lines if part.use == use), Decimal(0)))
        for use in get_args(PartUse)
    }
    work = None if rate is None else money(rate * Decimal(str(minutes)) / 60)
    total = None if work is None else money(work + sums["fitted"])
    limit = next(reversed(store.authorisations(job.job_id)), None)
    planned = total is not None and any(part.use == "estimate" for part in lines)
    return Costs(
        currency=settings.currency or workshop.currency,
        rate=rate,
        minutes=minutes,
        work=work,
        parts=sums["fitted"],
        total=total,
        limit=limit,
        over=limit is not None and total is not None and total > limit.amount,
        steps=steps,
        lines=lines,
        estimate=money((total or 0) + sums["estimate"]) if planned else None,
        on_suspicion=sums["on suspicion"],
    )


def money(amount: Decimal) -> Decimal:
    """To the cent, halves away from zero.

    >>> money(Decimal("12.345"))
    Decimal('12.35')
    """
    return amount.quantize(CENT, ROUND_HALF_UP)


def read_money(text: str, where: str) -> Decimal:
    """An amount as typed, with a point or a comma. Raises InputError.

    >>> read_money("96,50", "rate")
    Decimal('96.50')
    """
    try:
        amount = Decimal(text.strip().replace(",", "."))
    except ArithmeticError:
        raise InputError(
            f"{text.strip()[:40]!r} is no amount", remedy="write it like 96.50", where=where
        ) from None
    if not amount.is_finite() or not 0 <= amount <= LARGEST_SUM or amount != money(amount):
        raise InputError(f"{text.strip()[:40]!r} is no amount", remedy="write it like 96.50", where=where)
    return amount
