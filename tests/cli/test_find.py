"""`find`: scripts, the dialogue, and that nothing entered is lost."""

from __future__ import annotations

import json
import os
import pty
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from halfsplit.cli.ask import whole_word
from halfsplit.job import JobStore
from halfsplit.workbench.app import create_app
from tests.waiting import until

COMPLAINT = [{"load": "H1", "works": "no", "state": "on"}]


@pytest.fixture
def script(tmp_path):
    def write(**said):
        path = tmp_path / "answers.json"
        path.write_text(json.dumps({"complaints": COMPLAINT, **said}), encoding="utf-8")
        return path

    return write


def test_a_file_that_is_nested_without_end_is_refused(run, circuit, tmp_path):
    deep = tmp_path / "deep.txt"
    for text, command in (
        ("[" * 100_000, ("find", circuit, "--script", deep)),
        ("a = " + "[" * 100_000, ("learn", "--store", f"sqlite:///{tmp_path / 'jobs.db'}", "--add", deep)),
    ):
        deep.write_text(text, encoding="utf-8")
        code, _, err = run(*command)
        assert code == 1
        assert "deep.txt" in err


def test_a_simulated_vehicle_is_led_to_its_cause(run, circuit, script):
    answers = script(vehicle={"fault": "E1 open", "seed": 1})
    code, out, _ = run("find", circuit, "--script", answers, "--json")
    told = json.loads(out)
    assert (code, told["finding"]["cause"], told["finding"]["proven"]) == (0, "E1 open", True)
    assert told["minutes"] == pytest.approx(sum(one["minutes"] for one in told["tests"]), abs=0.1)
    assert told["next"] is None


def test_what_nothing_answers_is_handed_back(run, circuit, script):
    code, out, err = run("find", circuit, "--script", script(), "--json")
    told = json.loads(out)
    assert (code, told["tests"], told["finding"]) == (1, [], None)
    assert told["next"]["quantity"]
    assert err.startswith("Nothing in the script answers this test: ")


def test_an_answer_serves_the_test_that_it_names(run, circuit, script):
    first = json.loads(run("find", circuit, "--script", script(), "--json")[1])["next"]
    value = {"inspection": "good", "works": "no"}.get(first["quantity"], 12.0)
    named = {key: first[key] for key in ("quantity", "at", "to", "state")} | {"value": value}
    told = json.loads(run("find", circuit, "--script", script(answers=[named]), "--json")[1])
    assert [(one["at"], one["value"]) for one in told["tests"]] == [(first["at"], value)]


def test_a_reading_that_can_hardly_be_is_asked_about(run, circuit, script):
    answers = [
        {"quantity": "inspection", "value": "good"},
        {"quantity": "ohms", "value": 7.0},
        {"quantity": "volts", "value": 400.0},
    ]
    code, out, err = run("find", circuit, "--script", script(answers=answers), "--json")
    told = json.loads(out)
    assert (code, told["next"]["quantity"]) == (1, "volts")
    assert "volts" not in {one["quantity"] for one in told["tests"]}
    assert err == (
        "400 V on a 12 V net? More than 16.8 V is out of the ordinary: check range and decimal point. "
        'Give the answer "sure": true if it stands.\n'
    )


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[]", "answers.json: a script is one object: write"),
        ("{", "answers.json: cannot be read as JSON"),
        (
            '{"complaint": []}',
            "answers.json: 'complaint' is no key of a script: use answers, codes, complaints",
        ),
        ('{"complaints": [3]}', "answers.json: complaints: holds something that is no object"),
        ('{"complaints": [{}]}', "complaints, number 1: 'load' is missing"),
        ('{"vehicle": {}}', "answers.json: vehicle: needs the name of a fault"),
        ('{"complaints": [{"load": "H9"}]}', "there is no part 'H9' in this circuit"),
    ],
)
def test_a_script_that_makes_no_sense_is_told(run, circuit, tmp_path, text, told):
    path = tmp_path / "answers.json"
    path.write_text(text, encoding="utf-8")
    code, out, err = run("find", circuit, "--script", path, "--json")
    assert (code, out) == (1, "")
    assert err.startswith(told)


def test_an_answer_that_does_not_fit_is_told_with_its_line(run, circuit, tmp_path):
    path = tmp_path / "answers.json"
    said = json.dumps(
        {"complaints": COMPLAINT, "answers": [{"quantity": "volts", "value": 12.5}, "sideways"]}, indent=1
    )
    path.write_text(said, encoding="utf-8")
    code, out, err = run("find", circuit, "--script", path, "--json")
    line = said.splitlines().index('  "sideways"') + 1
    assert (code, out) == (1, "")
    assert err.startswith(f"answers.json, line {line}: ")
    assert "sideways" in err


def test_json_without_a_script_is_wrong_usage(run, circuit):
    assert run("find", circuit, "--json")[0] == 2


# The dialogue

BEGIN = "meter\ny\n1\nno\non\n\n\n"
"""Instruments, always there, the complaint, no more, no earlier work."""


def kept(tmp_path):
    """The one job that is kept, and its entries."""
    with JobStore(f"sqlite:///{tmp_path}/data/halfsplit/halfsplit.db") as store:
        (job,) = store.list_jobs()
        return job, store.evidence(job.job_id)


def test_the_end_of_the_input_keeps_what_was_entered(run, circuit, tmp_path):
    code, out, _ = run("find", circuit, typed=BEGIN)
    job, entries = kept(tmp_path)
    assert code == 1
    assert [entry.kind for entry in entries] == ["complaint"]
    assert f"Stopped. 1 entry is kept in job {job.number}; `halfsplit serve` shows it" in out
    assert "--resume" in out


def test_a_kept_job_goes_on(run, circuit, tmp_path):
    run("find", circuit, typed=BEGIN)
    code, out, _ = run("find", circuit, "--resume", typed="s\nq\n")
    assert code == 1
    assert "H1 does not work (on)" in out
    assert "What does not work" not in out
    assert len(kept(tmp_path)[1]) == 1


def test_nothing_to_go_on_with_is_told(run, circuit):
    code, _, err = run("find", circuit, "--resume")
    assert (code, err) == (
        1,
        "There is no job on bench-lamp.circuit to go on with: start one without --resume.\n",
    )


def test_doubts_are_asked_and_a_reading_can_be_struck_out(run, circuit, tmp_path):
    own = "m\nvolts\nH1.1\n\non\nmeter\n\n"
    run("find", circuit, typed=BEGIN + own + "400\nn\nnan\n12.0\nu\nprobe slipped\nq\n")
    _, reading, struck = kept(tmp_path)[1]
    assert [reading.payload[name] for name in ("at", "value", "typed")] == ["H1.1", 12.0, "12.0"]
    assert (struck.strikes, struck.reason) == (reading.entry_id, "probe slipped")


def test_a_look_of_ones_own_is_whatever_the_tool_proposes_and_a_word_has_a_beginning(run, circuit, tmp_path):
    """The fit of a terminal, at a contact of its own; `n` stands for no where the complaint is asked for."""
    begin = "meter\ny\nH1\nn\non\n\n\n"
    _, out, _ = run("find", circuit, typed=begin + "m\ninspection\nH1.1\non\npin drag\n\ng\nq\n")
    complaint, look = kept(tmp_path)[1]
    assert complaint.payload["works"] == "no"
    assert [look.payload[name] for name in ("at", "detail", "value")] == ["H1.1", ["pin drag"], "good"]
    assert "Pin drag of" in out


def test_the_lamp_in_a_fuses_place_is_the_one_that_is_read(run, circuit, tmp_path):
    begin = "meter, load lamp\ny\nH1\nno\non\n\n\n"
    own = "m\nlamp\nF1.1\nF1.2\non\nload lamp\nlamp F1\ndark\nq\n"
    run("find", circuit, typed=begin + own)
    assert kept(tmp_path)[1][-1].payload["changes"] == [["lamp for", "F1", 55.0]]


def test_a_test_that_cannot_be_done_is_kept_as_such(run, circuit, tmp_path):
    run("find", circuit, typed=BEGIN + "c\nseized\nq\n")
    assert [(entry.kind, entry.payload["why"]) for entry in kept(tmp_path)[1][1:]] == [("cannot", "seized")]


def test_a_job_of_the_terminal_goes_on_in_the_browser_and_into_the_report(run, circuit, tmp_path):
    run("find", circuit, typed=BEGIN)
    job, _ = kept(tmp_path)
    with JobStore(f"sqlite:///{tmp_path}/data/halfsplit/halfsplit.db") as store:
        page = TestClient(create_app(store), base_url="http://127.0.0.1").get(f"/jobs/{job.job_id}")
    assert page.status_code == 200
    assert "bench lamp" in page.text
    code, out, _ = run("export", job.number, "--out", tmp_path / "lamp.halfsplit")
    assert (code, out.strip()) == (0, str(tmp_path / "lamp.halfsplit"))


def test_a_stage_is_complained_of_and_the_circuit_may_change_between(run, circuit, tmp_path):
    text = circuit.read_text(encoding="utf-8")
    circuit.write_text(text + 'stage light "light on the road"  in "on"\n  needs H1\n', encoding="utf-8")
    run("find", circuit, typed="meter\ny\n2\nno\non\n\n\n")
    assert kept(tmp_path)[1][0].payload == {"load": "light", "works": "no", "state": "on"}
    circuit.write_text(text, encoding="utf-8")
    code, out, _ = run("find", circuit, "--resume", typed="\n1\nno\non\n\n\nq\n")
    assert code == 1
    assert "What does not work as it should?" in out  # the stage is gone: its entry is set aside, and kept


def test_a_file_of_ones_own_is_gone_on_with_and_not_written_over(run, circuit, tmp_path):
    mine = tmp_path / "mine.db"
    run("find", circuit, "--keep", mine, typed=BEGIN)
    code, _, err = run("find", circuit, "--keep", mine, typed=BEGIN)
    assert code == 1
    assert err.startswith(f"{mine} is there already: go on with it by --resume")
    assert "H1 does not work (on)" in run("find", circuit, "--keep", mine, "--resume", typed="q\n")[1]
    with JobStore(f"sqlite:///{mine}") as store:
        assert [len(store.evidence(one.job_id)) for one in store.list_jobs()] == [1]


def test_ctrl_c_on_a_terminal_keeps_what_was_entered(circuit, tmp_path):
    terminal, child = pty.openpty()
    environment = os.environ | {"XDG_DATA_HOME": str(tmp_path / "data"), "TERM": "dumb"}
    # As on a terminal: whoever started the tests in the background may have had them ignore Ctrl-C.
    program_text = "import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
    program_text += "from halfsplit.cli import main; main()"
    command = [sys.executable, "-c", program_text, "find", str(circuit)]
    with subprocess.Popen(
        command, stdin=child, stdout=child, stderr=child, env=environment, start_new_session=True
    ) as program:
        os.close(child)
        try:
            seen = _typed_then_interrupted(program, terminal)
            assert program.wait(400) == 1
        finally:
            program.kill()
            os.close(terminal)
    assert "Traceback" not in seen
    assert [entry.kind for entry in kept(tmp_path)[1]] == ["complaint"]


def _typed_then_interrupted(program, terminal):
    for typed, awaited in (
        ("meter", "Instruments"),
        ("y", "all the time"),
        ("1", "Number or name"),
        ("no", "Does H1"),
        ("on", "In which state"),
        ("", "Number or name"),
        ("", "worked near"),
    ):
        _until(terminal, awaited)
        os.write(terminal, typed.encode() + b"\n")
    _until(terminal, "? for more")
    # A signal between the prompt and the reading of the line is only noticed with the next key: no finger is so quick.
    until(lambda: _waits(program.pid), "the program waits for a line")
    program.send_signal(signal.SIGINT)
    return _until(terminal, "Go on with")


def _waits(pid):
    """Whether all threads of a program sleep."""
    states = [
        path.read_text().rpartition(")")[2].split()[0] for path in Path(f"/proc/{pid}/task").glob("*/stat")
    ]
    return set(states) == {"S"}


def _until(terminal, awaited, seconds=400.0):
    """What the program writes until a text has come. However busy the machine is, that is no failure of the program."""
    seen, end = "", time.monotonic() + seconds
    while awaited not in seen:
        assert time.monotonic() < end, f"{awaited!r} did not come: {seen}"
        if select.select([terminal], [], [], 0.2)[0]:
            seen += os.read(terminal, 65536).decode(errors="replace")
    return seen


def test_words_are_taken_by_their_letters():
    lamp = ("bright", "dim", "dark")
    assert [whole_word(one, lamp) for one in ("b", "di", "DA", "dar", "d")] == [
        "bright",
        "dim",
        "dark",
        "dark",
        "d",
    ]
    assert [whole_word(one, ("set", "not set")) for one in ("y", "n", "set")] == ["set", "not set", "set"]
