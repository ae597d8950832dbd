"""Every class of mistake answers with its whole text: place, line, caret, what is wrong, what to write instead.

The expected texts in `mistakes.txt` were read one by one against the page "Errors" of the contract
(`K7 has pins 30 85 86 87: "K7.88" is none of them`), not copied without a look.
"""

import re
from pathlib import Path

import pytest

from halfsplit.circuit.checks import RULES, dead_parts
from halfsplit.circuit.problems import CircuitError
from halfsplit.notation import parse as parser
from halfsplit.notation.include import MOST_FILES
from halfsplit.notation.mistakes import MISTAKES, MOST
from halfsplit.notation.reading import parse, read
from tests.circuits import WASH_WIPE as EXAMPLE

_SECTIONS = re.split(
    r"^== ", Path(__file__).with_name("mistakes.txt").read_text(encoding="utf-8"), flags=re.MULTILINE
)
BASE = _SECTIONS[1].partition("\n")[2].strip() + "\n"


def _case(section: str) -> tuple[str, str, str]:
    head, _, rest = section.partition("\n")
    text, _, answer = rest.partition("\n--\n")
    name, _, alone = head.partition(" ")
    return name, text if alone else BASE + text, answer.strip("\n")


CASES = [_case(section) for section in _SECTIONS[2:]]

HERE = {
    "not-utf8", "unreadable", "too-large", "too-many-lines", "long-line", "control-character", "too-many-errors",
    "include-loop", "include-missing", "include-outside", "include-no-loader", "include-many",
}  # fmt: skip


def answer(text: str, **options: object) -> str:
    try:
        _, warnings = parse(text, **options)
    except CircuitError as error:
        return str(error)
    return "\n".join(map(str, warnings))


@pytest.mark.parametrize(("name", "text", "expected"), CASES, ids=[name for name, _, _ in CASES])
def test_the_whole_answer_to_a_mistake(name, text, expected):
    assert answer(text, file="x.circuit") == expected


def test_every_mistake_has_a_case():
    assert {name for name, _, _ in CASES} | HERE == {*MISTAKES, *RULES}


def test_all_errors_come_at_once_with_their_lines():
    with pytest.raises(CircuitError) as caught:
        parse("title a\nfuze F1 3 A\nG1.+ -- F2 -- H1.1\nlamp H1 21 volts\nfuse F3 7,5 A\nG1.- -- E4\n")
    found = [(problem.line, problem.kind) for problem in caught.value.problems]
    assert found == [
        (2, "unknown-statement"),
        (3, "no-rating"),
        (4, "unknown-unit"),
        (5, "decimal-comma"),
        (6, "heater-or-ground"),
    ]


def test_a_name_on_a_line_with_an_error_is_not_called_unknown_as_well():
    with pytest.raises(CircuitError) as caught:
        parse(BASE + 'module A2 "left\n  feed 1\nF1.2 -- A2.1\nreach A2 3 min')
    assert [problem.kind for problem in caught.value.problems] == ["unclosed-quote"]


# what needs files, size or characters that a text file does not show


def test_characters_that_cannot_stand_in_a_circuit():
    assert answer(BASE + "lamp \x00H2") == (
        "1 error in the circuit\n"
        "line 7, column 6: error: the character U+0000 cannot stand in a circuit\n"
        "    lamp \ufffdH2\n"
        "         ^\n"
        "    delete it"
    )


def test_a_line_that_is_too_long_is_shown_in_part():
    assert answer("#" * 1001) == (
        "1 error in the circuit\n"
        "line 1, column 1: error: the line has 1001 characters, 1000 are allowed\n"
        f"    {'#' * 110}\n"
        "    ^\n"
        "    let a path go on in an indented line: -- X31.4"
    )


def test_the_caret_of_a_long_line_stands_below_the_mistake():
    name = "H" * 200
    shown, caret = answer(BASE + f'lamp H2 "{"a" * 200}" at "b" {name}').splitlines()[2:4]
    assert shown[caret.index("^") :].startswith("HHHH")


def test_tabs_stay_before_the_caret():
    assert answer("title a\nmodule A1\n\tfeeds 1\n").splitlines()[2:4] == ["    \tfeeds 1", "    \t^"]


def test_a_text_that_is_too_large():
    size = parser.LONGEST_TEXT + 1
    assert answer("#\n" * (size // 2) + "#").endswith(
        f"error: the text has {size} characters, {parser.LONGEST_TEXT} are allowed\n    #\n    ^\n"
        "    split it into files and include them"
    )


def test_a_text_of_too_many_lines():
    assert answer("\n" * parser.MOST_LINES).splitlines()[1:] == [
        "line 1, column 1: error: the text has 20001 lines, 20000 are allowed",
        "    leave out what does not matter for the fault",
    ]


def test_no_more_errors_are_told_than_help():
    with pytest.raises(CircuitError) as caught:
        parse("modul A\n" * 500)
    assert len(caught.value.problems) == MOST + 1
    assert (
        str(caught.value.problems[-1]) == "error: 100 errors: the others are not shown\n    mend these first"
    )


def test_a_file_that_is_not_text(tmp_path):
    path = tmp_path / "van.circuit"
    path.write_bytes(b"title \xff\xfe")
    with pytest.raises(CircuitError) as caught:
        read(path)
    assert str(caught.value) == (
        "1 error in the circuit\n"
        "van.circuit: error: the file is not UTF-8 text: byte 6 does not belong there\n"
        "    save it as UTF-8 in the editor"
    )


def test_a_file_that_does_not_exist(tmp_path):
    with pytest.raises(CircuitError) as caught:
        read(tmp_path / "van.circuit")
    assert str(caught.value) == (
        "1 error in the circuit\n"
        "van.circuit: error: van.circuit cannot be read: there is no such file\n"
        "    check the name and the folder"
    )


def test_a_part_without_current_in_any_state():
    model, _ = parse(BASE)
    (finding,) = dead_parts(model, lambda name: name != "H1")
    assert (finding.mistake.severity, finding.message, finding.remedy, finding.at.line) == (
        "warning",
        "H1 can have no current in any state",
        "check its wires, the fuse, the ground, and that a state switches it on",
        3,
    )


def test_a_slip_of_the_pen_in_a_name_is_warned_about_at_both_ends():
    """The case of the contract: X31.4 on one path and X13.4 on another."""
    text = EXAMPLE.replace("X31.4  --  M9.1", "X31.4").replace("M9.2  --", "X13.4 -- M9.1\nM9.2 --")
    messages = [problem.message for problem in parse(text)[1]]
    assert "X13 is named only here" in messages
    assert "X31.4 is wired on one side only, the side on which a path arrives" in messages
    assert "X13.4 is wired on one side only, the side from which a path leaves" in messages


# include


def answer_with(files: dict[str, str], start: str = "van.circuit") -> str:
    return answer(files[start], file=start, loader=files.__getitem__)


def test_a_loop_of_includes_is_named():
    files = {"van.circuit": 'include "sub/a.circuit"', "sub/a.circuit": '\ninclude "../van.circuit"'}
    assert answer_with(files) == (
        "1 error in the circuit\n"
        "sub/a.circuit, line 2, column 9: error: files include each other in a loop: "
        "van.circuit includes sub/a.circuit includes van.circuit\n"
        '    include "../van.circuit"\n'
        "            ^\n"
        "    take out one of these includes"
    )


def test_a_missing_include():
    assert answer_with({"van.circuit": BASE + 'include "lamps.circuit"'}) == (
        "1 error in the circuit\n"
        'van.circuit, line 7, column 9: error: the file "lamps.circuit" cannot be read: there is no such file\n'
        '    include "lamps.circuit"\n'
        "            ^\n"
        "    check its name, relative to this file"
    )


@pytest.mark.parametrize(
    "name", ["../x.circuit", "/etc/passwd", "a/../../x", "..\\x.circuit", "C:\\x", "file:x"]
)
def test_an_include_outside_the_folder_is_not_even_asked_for(name):
    asked = []
    text = answer(BASE + f'include "{name}"', file="van.circuit", loader=asked.append)
    assert f'error: the file "{name}" lies outside the folder of the circuit\n' in text
    assert text.endswith("    put it into the folder")
    assert asked == []


def test_a_text_without_a_folder_cannot_include():
    assert answer(BASE + 'include "a.circuit"') == (
        "1 error in the circuit\n"
        'line 7, column 9: error: "a.circuit" cannot be included: this text has no folder\n'
        '    include "a.circuit"\n'
        "            ^\n"
        "    paste its text here, or save both as files"
    )


def test_the_number_of_included_files_is_bounded():
    files = {f"{number}": f'include "{number + 1}"' for number in range(MOST_FILES + 5)}
    assert f"error: more than {MOST_FILES} files are included\n" in answer_with(files, "0")
