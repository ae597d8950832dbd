"""text → model → text → model is the identity, and no input whatever gives anything but a model or `CircuitError`."""

import string

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from halfsplit.circuit.kinds import KINDS
from halfsplit.circuit.model import Model
from halfsplit.circuit.problems import CircuitError, Problem
from halfsplit.notation.reading import parse, read, write
from tests.circuits import WASH_WIPE as EXAMPLE

FEW = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
MANY = settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.too_slow])

positive = st.floats(1e-6, 1e6, exclude_min=True)
share = st.floats(0.0, 1.0)
words = st.text(string.ascii_letters + string.digits + " #,.-()äß°", max_size=12).map(
    lambda text: f'"{text}"'
)
pins = st.from_regex(r"[A-Za-z0-9+\-/_]{1,3}", fullmatch=True).filter(
    lambda pin: pin not in ("or", "at") and "--" not in pin
)
colours = st.sampled_from(["", "RD", "BU/WH", "GNYE"])


def number(value: float) -> str:
    return f"{value:.17f}".rstrip("0") if value < 1 else repr(value) if value < 1e6 else "1000000"


def maybe(strategy: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.just("") | strategy


@st.composite
def amounts(draw, unit):
    return f"{number(draw(positive))} {unit}"


@st.composite
def two_pin_parts(draw):
    """A declaration with one value, and the words after it."""
    kind = draw(
        st.sampled_from(
            ["fuse", "breaker", "lamp", "motor", "heater", "resistor", "solenoid", "diode", "sensor"]
        )
    )
    unit = draw(st.sampled_from([unit for unit in KINDS[kind].units if unit != "share"]))
    where = draw(maybe(words.map(lambda text: f"at {text}")))
    tag = draw(maybe(st.sampled_from(["kind pyro", "kind orange"])))
    return f"{kind} NAME {draw(amounts(unit))} {draw(maybe(words))} {where} {tag}"


@st.composite
def conditions(draw, depth=2):
    leaves = st.sampled_from(["always", "7 is high", "brake is low", '"one"', "A1 hears A2"])
    if depth == 0:
        return draw(leaves)
    inner = st.one_of(leaves, conditions(depth - 1).map(lambda text: f"({text})"))
    joined = st.lists(inner, min_size=1, max_size=3).flatmap(
        lambda terms: st.sampled_from([" and ", " or "]).map(lambda word: word.join(terms))
    )
    return draw(st.one_of(joined, inner.map(lambda text: f"not {text}")))


@st.composite
def modules(draw):
    """Two units on one bus; the first with behaviour of every sort."""
    options = [
        draw(maybe(amounts("ohm"))),
        draw(maybe(amounts("A").map("limit {}".format))),
        draw(maybe(st.sampled_from(["latches off", 'latches off until "one"']))),
        draw(maybe(amounts("ohm").map("bias {} when off".format))),
        draw(maybe(share.map(lambda value: f"pwm {number(value)} 100 Hz"))),
        f"when {draw(conditions())}",
    ]
    lines = [
        "module A1 " + draw(maybe(words)),
        f"  feed {' or '.join(draw(st.lists(pins, min_size=1, max_size=3, unique=True)))}",
        "  earth 31x",
        f"  reads 7 as brake {draw(maybe(amounts('ohm').map('pulled up {}'.format)))} "
        + draw(maybe(amounts("V").map("low under {}".format))),
        f"  drives 12 {draw(st.sampled_from(['high', 'low']))} {' '.join(draw(st.permutations(options)))}",
        f"  supplies 40 {draw(amounts('V'))} {draw(maybe(amounts('A').map('limit {}'.format)))}",
        "  talks on CAN1 at 5a 6a",
        *draw(st.sampled_from([[], ["  sleeps 0 mA after 3 min", "  wakes when brake is high"]])),
        *draw(st.sampled_from([[], ["  clamp 12"], ["  works over 6.5 V"], ["  draws 33 mA"]])),
        "module A2",
        "  talks on CAN1 at 1 2",
        f"terminator {draw(amounts('ohm'))} at A2 on CAN1",
    ]
    return lines


@st.composite
def paths(draw, names):
    """From the battery to a ground through any points, with any details."""
    inner = st.one_of(
        st.sampled_from(
            [
                *names,
                "SP1",
                "SP2",
                "A1.12",
                "A2.9",
                "K1.30",
                "K1.86",
                "S1",
                "B9.3",
                "X2.1:in",
                "X2.1:out",
                "?",
            ]
        ),
        pins.map("X1.{}".format),
    )
    points = draw(st.lists(inner, max_size=4))
    points = ["G1.+", *points, "E1"]
    kept = [
        b for a, b in zip(["", *points], points, strict=False) if b.partition(":")[0] != a.partition(":")[0]
    ]
    detail = st.builds(
        lambda size, colour, metres: f"--[{size} {colour} {metres}]--",
        maybe(positive.map(lambda value: f"{number(value)}mm2") | st.integers(0, 40).map("{}AWG".format)),
        colours,
        maybe(positive.map(lambda value: f"{number(value)} m")),
    )
    text = kept[0]
    for point in kept[1:]:
        plain = point == "?" or text.endswith("?")
        text += f" {'--' if plain else draw(st.just('--') | detail)} {point}"
    return text


@st.composite
def circuits(draw):
    """A text with every kind of statement, in any order."""
    declared = draw(st.lists(two_pin_parts(), max_size=4))
    names = [f"Q{number}" for number in range(len(declared))]
    blocks = [
        "title " + draw(st.sampled_from(["Van", '"a # b"', "the big one, 2 t"])),
        "battery G1 " + draw(maybe(amounts("V"))),
        "generator L1",
        "mass engine " + draw(maybe(amounts("mohm"))),
        f"ground E1 {draw(maybe(st.just('on engine')))} {draw(maybe(words))}",
        "relay K1 pulls 7.5 V drops 1.25 V",
        "switch S1 off low high\n  joins low 1 2\n  joins high 2 1",
        "sensor B9 0.5",
        "motor M1 3 A\n  parks 31b 31 53a",
        *(line.replace("NAME", name) for line, name in zip(declared, names, strict=True)),
        "\n".join(draw(modules())),
        *draw(st.lists(paths(names), max_size=5)),
        "variant early\n  " + draw(paths(names)),
        f'state "one" S1 {draw(st.sampled_from(["off", "high"]))}, L1 running, B9 {number(draw(share))}, takes 2 min',
        'state "two" lasts 20 min, helper',
        f"stage fuel {draw(maybe(words))} {draw(st.sampled_from(['', '3.8 bar else 0 bar', '-1 °C else 90 °C']))}\n"
        "  needs M1\n"
        f'  fails "stuck # open" x{number(draw(positive))}\n  stand-in "feed it" 3 min caution "vapour"\n  in "two"',
        f"reach M1 {number(draw(positive))} min {draw(maybe(words))}",
        f"suspect K1.30 x{number(draw(positive))} {draw(maybe(words))}",
    ]
    return "\n".join(["G1.- -- E1", *draw(st.permutations(blocks))])


@given(circuits())
@FEW
def test_writing_and_reading_again_gives_the_same_model(text):
    answer = attempt(text)
    if isinstance(answer, CircuitError):
        kinds = {problem.kind for problem in answer.problems if problem.severity == "error"}
        assert kinds <= {"own-wire", "stretch-end", "pin-twice", "range"}, str(answer)
        return
    model, warnings = answer
    again, told = parse(write(model))
    assert again == model
    assert list(again.parts) == list(model.parts)
    assert sorted(problem.message for problem in told) == sorted(problem.message for problem in warnings)
    assert write(again) == write(model)


_PIECES = [
    *EXAMPLE.split(), *string.punctuation, "--[", "]--", "\n", "\n  ", "\t", "1e9", "x3", "when", "joins", "variant",
    "stage", "needs", "9" * 400, "\u2028", "\x85", "\ud800", "\0", "é", "٣", "²", "Ω",
]  # fmt: skip


def attempt(text: str) -> tuple[Model, tuple[Problem, ...]] | CircuitError:
    try:
        return parse(text)
    except CircuitError as error:
        return error


def only_circuit_errors(text: str) -> None:
    answer = attempt(text)
    if isinstance(answer, CircuitError):
        assert answer.problems
        assert str(answer)
    else:
        assert parse(write(answer[0]))[0] == answer[0]


@given(st.text())
@example("fuse F1 " + "9" * 400 + " A")
@example("stage a ٣ else ٤")
@example("G1.+ -- ? -- ? -- G1.-")
@MANY
def test_any_text_gives_a_model_or_its_errors(text):
    only_circuit_errors(text)


@given(st.lists(st.sampled_from(_PIECES), max_size=40).map(" ".join))
@MANY
def test_any_words_of_the_notation_give_a_model_or_its_errors(text):
    only_circuit_errors(text)


@given(st.integers(0, len(EXAMPLE)), st.integers(0, 30), st.sampled_from(_PIECES))
@MANY
def test_any_change_of_the_example_gives_a_model_or_its_errors(start, length, piece):
    only_circuit_errors(EXAMPLE[:start] + piece + EXAMPLE[start + length :])


@given(circuits(), st.data())
@FEW
def test_any_change_of_any_circuit_gives_a_model_or_its_errors(text, data):
    start = data.draw(st.integers(0, len(text)))
    piece = data.draw(st.sampled_from(_PIECES))
    only_circuit_errors(text[:start] + piece + text[start + data.draw(st.integers(0, 20)) :])


@given(st.binary(max_size=200))
@FEW
def test_any_bytes_in_a_file_give_a_model_or_its_errors(tmp_path_factory, data):
    path = tmp_path_factory.mktemp("bytes") / "x.circuit"
    path.write_bytes(data)
    try:
        read(path)
    except CircuitError as error:
        problems = error.problems
    else:
        problems = ()
    assert len({problem.line for problem in problems}) <= data.count(b"\n") + data.count(b"\r") + 2


@pytest.mark.parametrize(
    "hard",
    [
        "module A1\n" + " drives 1 high when " + "(" * 900,
        "A1.1 -- " + "--[] " * 190,
        "A1.1 --" + "[" * 900,
        "fuse F1 3" + " " * 900 + "x",
        '"' * 999,
        "title " + "\\" * 900,
        "battery G1\n" + "".join(f"G1.+ -- X{n}.1 -- R{n} -- G1.-\n" for n in range(1200)),
        "".join(f"stage s{n}\n needs s{n + 1}\n" for n in range(1200)) + "stage s1200",
        "".join(f"stage s{n}\n needs s{n + 1}\n" for n in range(1200)) + "stage s1200\n needs s0",
    ],
    ids=lambda text: text[:20],
)
def test_nothing_is_nested_or_searched_without_a_bound(hard):
    """Deep, long and repeated input neither recurses nor backtracks; a failure shows as a traceback or a hung run."""
    only_circuit_errors(hard)
