"""`plan`: the decision tree for a complaint, to be printed and followed in the bay."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from halfsplit.circuit.instruments import instrument
from halfsplit.cli.app import app, example
from halfsplit.cli.circuit import File, Json
from halfsplit.cli.learn import Cluster
from halfsplit.cli.output import progress, put, put_json, tell, write_new


@app.command(
    epilog=example(
        'halfsplit plan heated-screen.circuit --load E30 --works weak --state "screen on"',
        "halfsplit plan heated-screen.circuit --load E30 --works weak --pdf plan.pdf",
    )
)
def plan(
    file: File,
    load: Annotated[str, typer.Option(help="The load that the complaint is about.")] = "",
    works: Annotated[str, typer.Option(help="How it works: no, weak, or yes when it should not.")] = "no",
    state: Annotated[
        str, typer.Option(help="In which state; the one with most volts on it if not given.")
    ] = "",
    script: Annotated[
        Path | None,
        typer.Option(metavar="ANSWERS.json", help="Take the complaints from a script of `find` instead."),
    ] = None,
    instruments: Annotated[
        str, typer.Option(help="What is at hand, with commas between.")
    ] = "meter, test lamp",
    pdf: Annotated[Path | None, typer.Option(metavar="OUT", help="Write it as PDF for A4 as well.")] = None,
    cluster: Cluster = "",
    as_json: Json = False,
) -> None:
    """Work out the whole plan for a complaint: each test, what each result leads to, minutes and cautions.

    Branches that few vehicles come to end in 'use the tool from here'.
    """
    from tempfile import TemporaryDirectory

    from halfsplit.cli.finding import self_contained
    from halfsplit.cli.script import Script
    from halfsplit.diagnosis.plan import plan as worked_out
    from halfsplit.diagnosis.plan_words import plan_document, plan_text
    from halfsplit.job import Intake, JobSettings, JobStore, OpenJob, open_job, take
    from halfsplit.job.planning import planned_on

    if bool(load) == bool(script):
        raise typer.BadParameter("is needed, or else --script", param_hint="--load")
    names = tuple(instrument(name.strip()).name for name in instruments.split(",") if name.strip())
    answers = Script.read(script) if script else None
    intake = Intake(settings=answers.settings if answers else JobSettings(instruments=names))
    with TemporaryDirectory() as folder, JobStore(f"sqlite:///{folder}/plan.db") as store:
        kept = open_job(store, intake, who="plan", circuit=self_contained(file))
        job = OpenJob(store, kept.job_id, "plan")
        if answers:
            answers.begin(job)
        else:
            take(job, "complaint", {"load": load, "works": works, "state": state}, present="yes")
        if cluster:
            made = planned_on(job, cluster)
        else:
            with job.bench() as bench, progress("the plan") as done:
                assert bench.told is not None  # noqa: S101 - a complaint was taken, so there is a circuit
                made = worked_out(bench.told.diagnosis, progress=lambda steps, most: done(steps / most))
    document = plan_document(made)
    if as_json:
        put_json(document)
    else:
        put(plan_text(made))
    if pdf:
        from halfsplit.report import plan_pdf

        printed = plan_pdf(document)
        write_new(pdf, lambda stream: stream.write(printed), replace=True)
        tell(f"{pdf}: {len(printed):,} bytes")
