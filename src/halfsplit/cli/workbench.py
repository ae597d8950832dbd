"""`serve`, `demo`, `report`, `export` and `import`: the jobs of a store, from the command line."""

from __future__ import annotations

import getpass
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from platformdirs import user_data_path

from halfsplit.cli.app import app, example
from halfsplit.cli.output import put, tell, write_new
from halfsplit.errors import InputError

if TYPE_CHECKING:
    from halfsplit.job import Job, JobStore

HOST, PORT = "127.0.0.1", 8090
SUFFIX = ".halfsplit"
"""What an exported job's file is called by; inside it is a ZIP."""

Store = Annotated[
    str,
    typer.Option(
        "--store",
        metavar="URL",
        envvar="HALFSPLIT_STORE",
        help="sqlite:///FILE or postgresql://USER@HOST/DATABASE. A file in your own data folder if not given.",
    ),
]
Attachments = Annotated[
    Path | None,
    typer.Option(
        "--attachments",
        metavar="FOLDER",
        envvar="HALFSPLIT_ATTACHMENTS",
        help="Where photos and other files of the jobs are. Beside the file of SQLite, or in your own data folder.",
    ),
]
Host = Annotated[
    str, typer.Option(help="The address to serve on. Beyond this machine accounts are required.")
]
Port = Annotated[int, typer.Option(min=1, max=65535, help="The port to serve on.")]
JobName = Annotated[
    str, typer.Argument(metavar="JOB", help="The number or the id of a job.", show_default=False)
]


@contextmanager
def opened(url: str, attachments: Path | None = None) -> Iterator[JobStore]:
    """The store at this address, or this user's own; ``attachments``: the folder of its files."""
    from halfsplit.job import JobStore
    from halfsplit.store import default_url

    with JobStore(url or default_url(), files=attachments.absolute() if attachments else None) as store:
        yield store


def job_named(store: JobStore, name: str) -> Job:
    """A job by its number or its id. Raises NotFoundError."""
    return store.job_by_number(int(name)) if name.isascii() and name.isdigit() else store.job(name)


@app.command(
    epilog=example("halfsplit serve", "halfsplit serve --host 0.0.0.0 --store postgresql://workshop@db/jobs")
)
def serve(
    host: Host = HOST,
    port: Port = PORT,
    store: Store = "",
    attachments: Attachments = None,
    certificate: Annotated[
        Path | None, typer.Option(help="A PEM file, for https; --key belongs to it.")
    ] = None,
    key: Annotated[Path | None, typer.Option(help="The certificate's key: a PEM file.")] = None,
    public: Annotated[
        str, typer.Option(metavar="URL", help="The address that people open, where a proxy stands in front.")
    ] = "",
    proxy: Annotated[
        str, typer.Option(metavar="ADDRESS", help="The proxy's own address, whose headers are believed.")
    ] = HOST,
    workers: Annotated[
        int | None,
        typer.Option(
            min=0,
            max=64,
            help="Processes for the engine's work; one for each processor where others sign in.",
        ),
    ] = None,
    cluster: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS",
            help="A Dask scheduler, or local: where plans are worked out and exercises judged.",
        ),
    ] = "",
) -> None:
    """Serve the workbench in the browser until Ctrl-C."""
    from halfsplit.workbench.run import Serving, check_certificate, run

    serving = Serving(host, port, certificate, key, public, proxy, workers, cluster)
    check_certificate(serving)
    _check_free(host, port)
    with opened(store, attachments) as jobs:
        run(jobs, serving, tell=tell)


@app.command(epilog=example("halfsplit demo", "halfsplit demo heated-screen"))
def demo(
    name: Annotated[
        str,
        typer.Argument(
            metavar="[NAME]", help="rear-lamps, heated-screen or sensor-supply.", show_default=False
        ),
    ] = "",
    port: Port = PORT,
    store: Store = "",
    attachments: Attachments = None,
) -> None:
    """Serve the workbench with a demo job: nothing to set up, and your own jobs stay apart."""
    from halfsplit.job import demo_job
    from halfsplit.notation.library import sample
    from halfsplit.workbench.run import Serving, run

    if name:
        sample(name, "demo")
    _check_free(HOST, port)
    own = f"sqlite:///{user_data_path('halfsplit') / 'demo.db'}"
    with opened(store or own, attachments) as jobs:
        job = demo_job(jobs, name, job_id=f"demo-{name}" if name else "demo")
        tell(f"The demo job is number {job.number}: http://{HOST}:{port}/jobs/{job.job_id}")
        run(jobs, Serving(HOST, port), tell=tell)


def _check_free(host: str, port: int) -> None:
    """Raise InputError where the address cannot be served on, before anything is begun."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    try:
        with socket.socket(family, socket.SOCK_STREAM) as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((host, port))
    except OSError as error:
        raise InputError(
            f"cannot serve on {host}, port {port}: {error.strerror or error}",
            remedy="end the program that has the port, or choose another with --port",
        ) from None


@app.command(
    epilog=example(
        "halfsplit report 12 --pdf report.pdf", "halfsplit report 12 --pdf record.pdf --for workshop"
    )
)
def report(
    job: JobName,
    pdf: Annotated[Path, typer.Option(metavar="OUT", help="The file to write.")],
    audience: Annotated[str, typer.Option("--for", help="customer or workshop.")] = "customer",
    store: Store = "",
    attachments: Attachments = None,
) -> None:
    """Write the report of a job as PDF: one page for the customer, or the whole record for the workshop."""
    from halfsplit.job import OpenJob, report_pdf

    if audience not in ("customer", "workshop"):
        raise typer.BadParameter("is customer or workshop", param_hint="--for")
    with opened(store, attachments) as jobs:
        made = report_pdf(OpenJob(jobs, job_named(jobs, job).job_id), audience)
    write_new(pdf, lambda stream: stream.write(made), replace=True)
    tell(f"{pdf}: {len(made):,} bytes")


@app.command("export", epilog=example("halfsplit export 12", "halfsplit export 12 --out van.halfsplit"))
def export(
    job: JobName,
    out: Annotated[
        Path | None, typer.Option(help="The file to write; made up from the number if not given.")
    ] = None,
    store: Store = "",
    attachments: Attachments = None,
) -> None:
    """Write a whole job, with its photos and files, as one file."""
    from halfsplit.job import export_job

    with opened(store, attachments) as jobs:
        record = job_named(jobs, job)
        target = out or Path(f"job-{record.number}{SUFFIX}")
        write_new(target, lambda stream: export_job(jobs, record.job_id, stream))
    put(str(target))


@app.command("import", epilog=example("halfsplit import job-12.halfsplit"))
def import_file(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="A file that `export` wrote.", show_default=False)
    ],
    store: Store = "",
    attachments: Attachments = None,
) -> None:
    """Read a whole job from a file into the store; it keeps its id and gets a number of its own."""
    from halfsplit.job import import_job

    with opened(store, attachments) as jobs:
        try:
            with file.open("rb") as source:
                job = import_job(jobs, source, who=getpass.getuser(), at=datetime.now(UTC))
        except OSError as error:
            raise InputError(f"{file} cannot be read: {error.strerror}") from None
    put(f"job {job.number} ({job.job_id})")
