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

from halfsplit.cli.ask import whole_word
from halfsplit.cli.keep import KeepFile
from halfsplit.errors import InputError

COMPLAINT = [{"load": "H1", "works": "no", "state": "on"}]


@pytest.fixture
def script(tmp_path):
    def write(**said):
        path = tmp_path / "answers.json"
        path.write_text(json.dumps({"complaints": COMPLAINT, **said}), encoding="utf-8")
        return path

    return write


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
    value = 12.0 if first["quantity"] in ("volts", "amps", "ohms") else "no"
    named = {key: first[key] for key in ("quantity", "at", "to", "state")} | {"value": value}
    told = json.loads(run("find", circuit, "--script", script(answers=[named]), "--json")[1])
    assert [(one["at"], one["value"]) for one in told["tests"]] == [(first["at"], value)]


def test_a_reading_that_can_hardly_be_is_asked_about(run, circuit, script):
    sound_lamp, impossible = {"quantity": "ohms", "value": 7.0}, {"quantity": "volts", "value": 400.0}
    code, out, err = run("find", circuit, "--script", script(answers=[sound_lamp, impossible]), "--json")
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


def test_json_without_a_script_is_wrong_usage(run, circuit):
    assert run("find", circuit, "--json")[0] == 2


# The dialogue

BEGIN = "meter\ny\n1\nno\non\n\n\n"
"""Instruments, always there, the complaint, no more, no earlier work."""


def kept(tmp_path):
    (path,) = (tmp_path / "state").rglob("*.jsonl")
    return path, [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]


def test_the_end_of_the_input_keeps_what_was_entered(run, circuit, tmp_path):
    code, out, _ = run("find", circuit, typed=BEGIN)
    path, lines = kept(tmp_path)
    assert code == 1
    assert [line.get("kind") for line in lines] == [None, "complaint"]
    assert f"Stopped. 1 entry is kept in {path}.\n" in out
    assert "--resume" in out


def test_a_kept_job_goes_on(run, circuit, tmp_path):
    run("find", circuit, typed=BEGIN)
    code, out, _ = run("find", circuit, "--resume", typed="s\nq\n")
    assert code == 1
    assert "H1 does not work (on)" in out
    assert "What does not work" not in out
    assert len(kept(tmp_path)[1]) == 2


def test_nothing_to_go_on_with_is_told(run, circuit):
    code, _, err = run("find", circuit, "--resume")
    assert (code, err) == (
        1,
        "There is no job on bench-lamp.circuit to go on with: start one without --resume.\n",
    )


def test_doubts_are_asked_and_a_reading_can_be_struck_out(run, circuit, tmp_path):
    own = "m\nvolts\nH1.1\n\non\nmeter\n\n"
    run("find", circuit, typed=BEGIN + own + "400\nn\n12,0\nn\nnan\n12.0\nu\nprobe slipped\nq\n")
    lines = kept(tmp_path)[1]
    assert [line["kind"] for line in lines[1:]] == ["complaint", "reading", "strike"]
    assert (lines[2]["at"], lines[2]["value"], lines[2]["typed"]) == ("H1.1", 12.0, "12.0")
    assert lines[3]["why"] == "probe slipped"


def test_a_test_that_cannot_be_done_is_kept_as_such(run, circuit, tmp_path):
    run("find", circuit, typed=BEGIN + "c\nseized\nq\n")
    assert [(line["kind"], line["why"]) for line in kept(tmp_path)[1][2:]] == [("cannot", "seized")]


def test_a_keep_file_is_not_written_over(run, circuit, tmp_path):
    mine = tmp_path / "mine.jsonl"
    run("find", circuit, "--keep", mine, typed=BEGIN)
    before = mine.read_bytes()
    code, _, err = run("find", circuit, "--keep", mine, typed=BEGIN)
    assert code == 1
    assert mine.read_bytes() == before
    assert err


def test_ctrl_c_on_a_terminal_keeps_what_was_entered(circuit, tmp_path):
    terminal, child = pty.openpty()
    environment = os.environ | {"XDG_STATE_HOME": str(tmp_path / "state"), "TERM": "dumb"}
    command = [sys.executable, "-c", "from halfsplit.cli import main; main()", "find", str(circuit)]
    with subprocess.Popen(
        command, stdin=child, stdout=child, stderr=child, env=environment, start_new_session=True
    ) as program:
        os.close(child)
        try:
            seen = _typed_then_interrupted(program, terminal)
            assert program.wait(30) == 1
        finally:
            program.kill()
            os.close(terminal)
    assert "Traceback" not in seen
    assert [line.get("kind") for line in kept(tmp_path)[1]] == [None, "complaint"]


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
    program.send_signal(signal.SIGINT)
    return _until(terminal, "Go on with")


def _until(terminal, awaited, seconds=60.0):
    """What the program writes until a text has come; fails where it does not come."""
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


# Keep-files


def test_an_unfinished_last_line_is_left_out(tmp_path):
    file = KeepFile(tmp_path / "a.jsonl")
    file.begin({"seed": 1})
    file.add({"kind": "event"})
    with file.path.open("ab") as stream:
        stream.write(b'{"kind": "rea')
    found = file.read()
    assert (found.lost, [one["kind"] for one in found.entries]) == (True, ["event"])
    file.add({"kind": "next"})
    assert [one["kind"] for one in file.read().entries] == ["event", "next"]


def test_damage_is_told_with_its_line(tmp_path):
    path = tmp_path / "a.jsonl"
    path.write_text('{"halfsplit": 1}\nnonsense\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"a\.jsonl, line 2: this is no entry: take the line out"):
        KeepFile(path).read()


def test_a_file_of_something_else_is_no_keep_file(tmp_path):
    path = tmp_path / "a.jsonl"
    path.write_text('{"a": 1}\n', encoding="utf-8")
    with pytest.raises(InputError, match="no keep-file of this version"):
        KeepFile(path).read()


@pytest.mark.skipif(
    not Path("/dev/full").exists(), reason="this system has no /dev/full to stand for a full disk"
)
def test_a_full_disk_is_told_and_nothing_is_believed_kept():
    with pytest.raises(InputError, match="No space left on device; this entry is not kept"):
        KeepFile(Path("/dev/full")).add({"kind": "event"})
