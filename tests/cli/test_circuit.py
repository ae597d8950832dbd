"""`check`, `expect`, `patterns`: exit status, streams and texts."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from halfsplit.job import samples


def test_a_sound_circuit_passes_in_silence(run, circuit):
    code, out, err = run("check", circuit)
    assert (code, out) == (0, "")
    assert err.startswith("bench-lamp.circuit: 6 parts, 2 states, ")
    summary, minutes = err.splitlines()
    assert summary.endswith(" faults; no problems")
    assert minutes == "Minutes to get at: F1 3, S1 3, H1 3, E1 3, E2 3."


def test_every_error_is_told_with_its_line_and_ends_with_1(run, circuit):
    circuit.write_text("battery G1\nfuse F1\nG1.+ -- F1 -- K7.88\n", encoding="utf-8")
    code, out, err = run("check", circuit)
    assert code == 1
    assert "bench-lamp.circuit, line 2, column" in out
    assert "bench-lamp.circuit, line 3, column" in out
    assert " error" in err
    assert "Traceback" not in out + err


def test_warnings_alone_end_with_0(run, circuit):
    text = circuit.read_text(encoding="utf-8")
    circuit.write_text(text + "H1.1 -- X1.1\n", encoding="utf-8")
    code, out, err = run("check", circuit)
    assert code == 0
    assert "warning: " in out
    assert err.splitlines()[0].endswith("; 2 warnings")


def test_problems_as_json(run, circuit):
    circuit.write_text("battery\n", encoding="utf-8")
    code, out, _ = run("check", circuit, "--json")
    told = json.loads(out)
    assert (code, told["usable"]) == (1, False)
    assert told["problems"][0]["line"] == 1


def test_a_file_that_is_not_there_is_told(run, tmp_path):
    code, out, err = run("check", tmp_path / "no.circuit")
    assert code == 1
    assert "no.circuit" in out + err


def test_what_points_read_is_what_ohm_says(run, circuit):
    # One lamp, 1.75 A: what fuse, contacts and wires lose is small beside the lamp's volts (Ohm's law).
    code, out, _ = run("expect", circuit, "--state", "on", "--json")
    on = json.loads(out)["states"]["on"]
    assert code == 0
    assert on["volts"]["H1.1"] == pytest.approx(12.0, abs=0.3)
    assert on["volts"]["H1.2"] == pytest.approx(0.0, abs=0.3)
    assert on["works"] == {"H1": "yes"}


def test_a_file_that_says_nothing_reads_nothing(run, circuit):
    circuit.write_text("", encoding="utf-8")
    assert run("expect", circuit)[0] == 0


def test_an_open_ground_puts_the_feed_on_it(run, circuit):
    code, out, _ = run("expect", circuit, "--state", "on", "--fault", "E1 open", "--point", "H1")
    assert code == 0
    rows = {line.split()[0]: line.split() for line in out.splitlines() if line}
    assert float(rows["H1.2"][2]) == pytest.approx(12.0, abs=0.01)
    assert rows["H1.2"][3] == "*"
    assert out.splitlines()[-1].split() == ["H1", "yes", "no", "*"]


def test_a_blown_fuse_is_told(run, circuit):
    _, out, _ = run("expect", circuit, "--fault", "H1 shorted")
    assert "Blown: F1" in out


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (
            ("--fault", "E1 opne"),
            "there is no fault 'E1 opne' in this circuit: did you mean \"E1 open\"? list them",
        ),
        (("--state", "up"), 'there is no state \'up\' in this circuit: it has "off", "on"'),
        (("--point", "H9"), "there is no point or part 'H9'"),
    ],
)
def test_names_that_are_not_there_are_told_with_the_nearest(run, circuit, arguments, told):
    code, out, err = run("expect", circuit, *arguments)
    assert (code, out) == (1, "")
    assert err.startswith(told)


def test_wrong_usage_ends_with_2(run):
    assert run("check")[0] == 2
    assert run("check", "a", "--no-such-option")[0] == 2


def test_a_pattern_is_printed_as_it_is(run):
    one = samples()[0]
    code, out, _ = run("patterns", one.name)
    assert (code, out.strip()) == (0, one.text.strip())
    told = json.loads(run("patterns", "--json")[1])
    assert {row["name"] for row in told} == {item.name for item in samples()}
    listed = " ".join(run("patterns")[1].split())
    for row in told:
        assert f"{row['name']} {row['title']} {row['use']}" in listed


def test_an_unknown_pattern_is_told_the_known_ones(run):
    code, out, err = run("patterns", "no-such")
    assert (code, out) == (1, "")
    assert "relay-load" in err


def test_the_installed_program_in_a_pipe(circuit):
    command = [sys.executable, "-c", "from halfsplit.cli import main; main()", "check", str(circuit)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, "")
    assert "no problems" in done.stderr
