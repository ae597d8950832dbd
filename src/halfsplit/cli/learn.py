"""`learn`: what the closed jobs of a store teach about causes."""

from __future__ import annotations

import getpass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from halfsplit.cli.app import app, example
from halfsplit.cli.output import put, table, tell
from halfsplit.cli.workbench import Attachments, Store, opened
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from halfsplit.job.learned_file import Learned


Cluster = Annotated[
    str, typer.Option(metavar="ADDRESS", help="A Dask scheduler, or local: all processors of this machine.")
]


@app.command(
    epilog=example(
        "halfsplit learn --store postgresql://workshop@db/jobs --cluster local",
        "halfsplit learn --add north.toml --add south.toml",
        "halfsplit learn --off",
    )
)
def learn(
    store: Store = "",
    attachments: Attachments = None,
    cluster: Cluster = "",
    add: Annotated[
        list[Path] | None,
        typer.Option(metavar="FILE", help="Another workshop's file, to be added up with it."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="The file to write; the one that the engine uses if not given."),
    ] = None,
    by: Annotated[str, typer.Option(help="Who stands in the file as its source; you if not given.")] = "",
    use: Annotated[
        bool | None, typer.Option("--on/--off", help="Only let the engine use what was learned, or not.")
    ] = None,
) -> None:
    """Learn from the closed jobs whose cause was proven: how often what is the cause, by kind, mode and circuit.

    Writes counts into a small file that the engine uses from then on, and tells what changed. No name, vehicle or
    text leaves the store.
    """
    from halfsplit.job.learned_file import added, learned_path, present, read_learned, switched, write_learned
    from halfsplit.job.learning import learn as learn_from

    if use is not None:
        if switched(used=use) is None:
            raise InputError(
                f"nothing was learned yet: there is no {learned_path()}", remedy="halfsplit learn"
            )
        return tell(f"What was learned is {'used' if use else 'left alone'} from now on.")
    before, others = present(), [read_learned(path) for path in add or ()]
    with opened(store, attachments) as jobs:
        own, closed = learn_from(jobs, by or getpass.getuser(), cluster=cluster)
    learned = added([own, *others])
    target = out or learned_path()
    write_learned(target, learned)
    put(_report(learned, before))
    tell(f"{closed} closed jobs, {own.tally.jobs} with a proven cause; {learned.tally.jobs} in all: {target}")
    return None


def _report(learned: Learned, before: Learned | None) -> str:
    """What changed, kind by kind, and what was the cause in which circuit."""
    from halfsplit.diagnosis.learned import kind_shares
    from halfsplit.job.learned_file import circumstances_said

    shares, earlier = kind_shares(learned.tally), kind_shares(before.tally) if before else {}
    rows = [
        [
            kind,
            f"{share.jobs} of {share.of}",
            f"{100 * share.shipped:.1f} %",
            f"{100 * earlier[kind].share:.1f} %" if kind in earlier else "",
            f"{100 * share.share:.1f} %",
            f"{100 * share.low:.1f} to {100 * share.high:.1f} %",
        ]
        for kind, share in shares.items()
    ]
    heads = ["cause", "jobs", "as shipped", "before", "now", "90 % between"]
    lines = [table(heads, rows, right=(1, 2, 3, 4, 5))] if learned.tally.jobs else ["Nothing was learned."]
    said = circumstances_said(learned.tally.circumstances)
    lines += [table(["besides", "counted", "now"], said)] if said else []
    for name, circuit in learned.tally.circuits.items():
        parts: dict[str, int] = {}
        for cause, jobs in circuit.causes.items():
            parts[cause.part] = parts.get(cause.part, 0) + jobs
        often_first = sorted(parts.items(), key=lambda pair: (-pair[1], pair[0]))
        words = ", ".join(f"{part} in {jobs} of {circuit.jobs}" for part, jobs in often_first)
        lines.append(f"circuit {name}: {words}")
    return "\n".join(lines)
