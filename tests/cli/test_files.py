"""`capture`, `scan`, `drain`, `plan`, `export`, `import`, and addresses that cannot be served on."""

from __future__ import annotations

import json
import math
import socket
import subprocess
import sys
import xml.etree.ElementTree as ET
from datetime import UTC, datetime
from functools import partial

import pytest

from halfsplit.diagnosis import plan as planning
from halfsplit.job import Complaint, Intake, JobStore, open_job


def test_a_square_wave_is_measured(run, tmp_path):
    # 100 Hz at 25 % by construction
    rows = [f"{n / 10_000:.4f},{12.0 if (n % 100) < 25 else 0.1}" for n in range(5_000)]
    file = tmp_path / "signal.csv"
    file.write_text("time (s),valve (V)\n" + "\n".join(rows) + "\n", encoding="utf-8")
    code, out, _ = run("capture", file, "--channel", "valve=switched signal", "--json")
    (told,) = json.loads(out)
    values = {one["name"]: one["value"] for result in told["results"] for one in result["quantities"]}
    assert code == 0
    assert any(math.isclose(value, 100.0, rel_tol=0.01) for name, value in values.items() if "freq" in name)


@pytest.mark.parametrize(
    ("option", "value", "told"),
    [
        ("--channel", "valve", "'valve' names no role: write NAME=ROLE"),
        ("--channel", "pump=LIN", "no channel 'pump' in "),
        ("--scale", "valve=many", "'valve=many' is no scale: write CHANNEL=100A"),
        ("--firing-order", "1,x", "'1,x' is no firing order: write it like 1,3,4,2"),
    ],
)
def test_options_of_a_capture_that_make_no_sense_are_told(run, tmp_path, option, value, told):
    file = tmp_path / "signal.csv"
    file.write_text(
        "time (s),valve (V)\n" + "".join(f"{n / 100},{n % 2}\n" for n in range(100)), encoding="utf-8"
    )
    code, out, err = run("capture", file, option, value)
    assert (code, out) == (1, "")
    assert err.startswith(told)


def test_a_capture_is_drawn_and_two_files_are_told_one_after_the_other(run, tmp_path):
    files = []
    for name in ("first", "second"):
        files.append(tmp_path / f"{name}.csv")
        rows = "".join(f"{n / 100},{12 * (n % 20 < 5)}\n" for n in range(400))
        files[-1].write_text(f"time (s),valve (V)\n{rows}", encoding="utf-8")
    picture = tmp_path / "signal.svg"
    code, out, _ = run("capture", files[0], "--channel", "valve=switched signal", "--plot", picture)
    assert (code, out.splitlines()[0]) == (0, "first.csv")
    assert "duty cycle: measured" in out
    assert ET.parse(picture).getroot().tag.endswith("svg")
    code, out, _ = run("capture", *files, "--channel", "valve=switched signal")
    assert (code, [name in out for name in ("first.csv", "second.csv")]) == (0, [True, True])
    code, out, err = run("capture", *files, "--plot", tmp_path / "both.svg")
    assert (code, out) == (1, "")
    assert err.startswith("a drawing is of one capture: give one file with --plot")


def test_files_are_needed(run):
    assert run("capture")[0] == 2
    assert run("scan")[0] == 2


def test_before_and_after(run, tmp_path):
    before, after = tmp_path / "before.txt", tmp_path / "after.txt"
    before.write_text("Unit: Door\n  U0121-87 confirmed\n", encoding="utf-8")
    after.write_text("Unit: Door\n  no codes\n", encoding="utf-8")
    code, out, _ = run("scan", before, after)
    assert code == 0
    assert out.startswith("gone            Door  U0121-87  confirmed\n")
    assert run("scan", after, before)[0] == 1


def test_a_channel_that_names_no_adapter(run):
    code, out, err = run("scan", "--live", "nonsense")
    assert (code, out) == (1, "")
    assert err.startswith("'nonsense' names no CAN interface: write interface:channel")


def test_a_drain_log(run, tmp_path):
    # 3 A for ten minutes, then 80 mA: the mean of what follows is 80 mA, 1.92 Ah a day by arithmetic
    file = tmp_path / "night.csv"
    rows = (f"{n},{3.0 if n < 600 else 0.08 + 0.0005 * (-1) ** n}" for n in range(0, 9000, 3))
    file.write_text("time s,current A\n" + "\n".join(rows) + "\n", encoding="utf-8")
    code, out, _ = run("drain", file, "--json")
    told = json.loads(out)
    assert code == 0
    assert told["level"] == pytest.approx(0.08, abs=0.002)
    assert told["ampere_hours_a_day"] == pytest.approx(1.92, abs=0.1)
    assert run("drain", file, "--instrument", "spoon")[0] == 2


def test_a_plan_names_the_complaint_and_its_steps(run, circuit, monkeypatch):
    monkeypatch.setattr(planning, "plan", partial(planning.plan, largest=4))
    code, out, _ = run("plan", circuit, "--load", "H1", "--state", "on", "--json")
    told = json.loads(out)
    assert (code, told["complaints"]) == (0, ["H1 does not work (on)"])
    assert told["steps"]
    assert told["expected_minutes"] <= told["worst_minutes"]
    assert run("plan", circuit)[0] == 2


def test_a_job_goes_out_and_comes_in_elsewhere(run, tmp_path):
    url, other = (f"sqlite:///{tmp_path / name}.db" for name in ("one", "two"))
    with JobStore(url) as store:
        intake = Intake(complaint=Complaint(text="The lamp is dark."))
        open_job(store, intake, who="test", job_id="j-1", at=datetime(2026, 3, 2, tzinfo=UTC))
    out = tmp_path / "out.halfsplit"
    assert run("export", "1", "--store", url, "--out", out)[:2] == (0, f"{out}\n")
    code, _, err = run("export", "j-1", "--store", url, "--out", out)
    assert (code, err) == (1, f"{out} is there already: name another file\n")
    assert run("import", out, "--store", other)[:2] == (0, "job 1 (j-1)\n")
    assert run("import", out, "--store", other)[0] == 1
    assert run("export", "7", "--store", url)[0] == 1


def test_a_file_that_is_no_job_is_told(run, tmp_path):
    file = tmp_path / "x.halfsplit"
    file.write_bytes(b"not a job")
    code, out, err = run("import", file, "--store", f"sqlite:///{tmp_path}/jobs.db")
    assert (code, out) == (1, "")
    assert "Traceback" not in err
    assert err


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_port_that_is_taken_is_told_before_anything_begins(run, command, tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        code, out, err = run(command, "--port", port, "--store", f"sqlite:///{tmp_path}/jobs.db")
    assert (code, out) == (1, "")
    assert err.startswith(f"cannot serve on 127.0.0.1, port {port}: ")
    assert not (tmp_path / "jobs.db").exists()


def test_no_warning_of_a_library_reaches_the_terminal():
    code = (
        "import subprocess, sys, warnings; from halfsplit import cli\n"
        "warn = 'import warnings; warnings.warn(chr(33))'\n"
        "cli.app = lambda **_: (warnings.warn('!'), subprocess.run([sys.executable, '-c', warn]))\n"
        "cli.main()"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stderr == ""
