"""Logs as files: delimiters, decimal commas, clocks, gaps, resets, wrong sign. All invented."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfsplit.drain import CurrentLog, analyse, parse_log, read_log
from halfsplit.errors import InputError

N = 400
SECONDS = np.arange(N) * 1.0
AMPS = np.where(SECONDS < 100, 2.5, 0.025) + 0.001 * np.sin(SECONDS)


def rows(form: str, head: str = "", comma: bool = False) -> str:
    lines = [
        form.format(t=t, s=int(t), a=a, m=1000 * a, clock=_clock(t))
        for t, a in zip(SECONDS, AMPS, strict=True)
    ]
    text = "\n".join(lines)
    return head + (text.replace(".", ",") if comma else text) + "\n"


def _clock(t: float) -> str:
    whole = int(t) + 23 * 3600 + 58 * 60
    return f"{whole // 3600 % 24:02}:{whole // 60 % 60:02}:{whole % 60:02}"


LAYOUTS = {
    "plain": rows("{t},{a:.4f}", "time [s],current [A]\n"),
    "no heading": rows("{t},{a:.4f}"),
    "semicolon, decimal comma, German": rows("{t:.1f};{a:.4f}", "Zeit;Strom in A\n", comma=True),
    "tabs, mA, French": rows("{t}\t{m:.3f}", "temps (s)\tcourant (mA)\n"),
    "spaces": rows("{t}   {a:.4f}", "# t  I/A\n"),
    "unit row": rows("{t};{m:.3f}", "Time;Current\ns;mA\n"),
    "preamble": rows("{t},{a:.4f}", "Logger XX\nrange: 10 A\n\ntime,current (A)\n"),
    "volts too": rows("{t},12.60,{a:.4f}", "time,battery voltage,current (A)\n"),
    "current first": rows("{a:.4f},{t}", "current (A),time (s)\n"),
    "clock past midnight": rows("{clock};{a:.4f}", "Uhrzeit;Strom (A)\n"),
    "date and clock": rows(
        "2026-03-11T10:{s:05},{a:.4f}".replace("10:{s:05}", "{clock}"), "date,current (A)\n"
    ),
    "counter before": rows("{s},{t},{a:.4f}", "no,time (s),current (A)\n"),
    "quotes": rows('"{t}","{a:.4f}"', '"time","current (A)"\n'),
    "milliseconds": rows("{t:.0f}000,{a:.4f}", "time [ms],current [A]\n"),
    "interval in the head": rows("{a:.4f}", "interval: 1 s\ncurrent (A)\n"),
    "no unit": rows("{t},{a:.4f}", "time,current\n"),
}


@pytest.mark.parametrize("name", [name for name in LAYOUTS if name != "date and clock"])
def test_layouts_give_the_same_log(name: str) -> None:
    log = parse_log(LAYOUTS[name])
    assert log.seconds == pytest.approx(SECONDS)
    assert log.amps == pytest.approx(AMPS, abs=6e-5)
    assert log.gaps == ()


def test_dates_count_the_days() -> None:
    days = [f"{11 + (k >= 120)}.03.2026 {_clock(k)};{a:.4f}" for k, a in enumerate(AMPS)]
    log = parse_log("Datum;Strom (A)\n" + "\n".join(days))
    assert log.seconds == pytest.approx(SECONDS)


def test_a_missing_unit_is_told() -> None:
    assert "The file names no unit: the values were taken as amps." in parse_log(LAYOUTS["no unit"]).remarks
    assert parse_log(LAYOUTS["no unit"], unit="mA").amps == pytest.approx(AMPS / 1000, abs=1e-6)


def test_one_column_needs_an_interval() -> None:
    text = rows("{a:.4f}", "current (A)\n")
    with pytest.raises(InputError, match="one column of numbers and no time: say how many seconds"):
        parse_log(text)
    assert parse_log(text, interval=2.0).step == 2.0


def test_bad_lines_are_left_out_and_told() -> None:
    lines = LAYOUTS["plain"].splitlines()
    lines[50] = "49.0,OL"
    lines[60] = "logger paused"
    lines[61] = "60.0"
    log = parse_log("\n".join(lines))
    assert log.amps.size == N - 3
    assert "2 lines could not be read and were left out: 61, 62." in log.remarks
    assert any("1 of 398 values are no numbers" in remark for remark in log.remarks)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no line of numbers among the first 0: a current log has a time and a current"),
        ("hello\nworld\n", "no line of numbers among the first 2"),
        ("1,0.5\n2,0.5\n", "2 samples over 1 s are too few: log for at least an hour"),
        (
            "t,x,y\n" + "\n".join(f"{k},1,2" for k in range(100)),
            "2 columns could be the current: name the column",
        ),
    ],
)
def test_what_is_no_log_is_told(text: str, message: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_log(text)
    assert str(caught.value).startswith(message)


def test_files_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"^gone.csv: cannot be read"):
        read_log(tmp_path / "gone.csv")
    (tmp_path / "x.csv").write_bytes(b"\x00\x01" * 100)
    with pytest.raises(InputError, match=r"^x.csv: this is not text: save the log as CSV or text"):
        read_log(tmp_path / "x.csv")
    (tmp_path / "wide.csv").write_bytes(LAYOUTS["plain"].encode("utf-16"))
    assert read_log(tmp_path / "wide.csv").source == "wide.csv"


def test_a_gap_is_told_and_in_no_figure() -> None:
    seconds = np.concatenate((np.arange(2000.0), np.arange(5000.0, 9000.0)))
    amps = np.full(seconds.size, 0.03) + np.random.default_rng(0).normal(0, 0.001, seconds.size)
    log = CurrentLog.of(seconds, amps)
    assert log.gaps == ((1999.0, 5000.0),)
    assert "1 gap of 3001 s together (33.3 % of the log), the first after 1999 s" in log.remarks[0]
    assert log.covered == pytest.approx(5998)
    assert analyse(log).mean == pytest.approx(0.03, rel=0.02)


def test_a_restart_of_the_logger_is_told_and_mended() -> None:
    seconds = np.concatenate((np.arange(1000.0), np.arange(1000.0)))
    log = CurrentLog.of(seconds, np.random.default_rng(0).normal(0.03, 0.001, 2000))
    assert log.seconds[-1] == 1999
    assert "The clock jumps back by 999 s after 999 s (restart, or clock set)" in log.remarks[0]


def test_the_wrong_sign_is_turned_and_told() -> None:
    log = CurrentLog.of(SECONDS, -AMPS)
    assert log.amps == pytest.approx(AMPS)
    assert "the wrong way round. The sign was turned." in log.remarks[0]


def test_an_offset_below_zero_is_told_and_not_turned() -> None:
    amps = np.random.default_rng(0).normal(0.0, 0.02, 5000)
    log = CurrentLog.of(np.arange(5000.0), amps)
    assert log.amps == pytest.approx(amps)
    assert any("the instrument's zero is off" in remark for remark in log.remarks)


def test_a_frozen_logger_is_told() -> None:
    log = CurrentLog.of(np.arange(5000.0), np.full(5000, 0.03))
    assert "the logger is frozen" in log.remarks[0]


def test_a_coarse_instrument_is_told() -> None:
    amps = np.round(np.random.default_rng(0).normal(0.03, 0.002, 5000), 2)
    assert any("resolves 10 mA only" in remark for remark in CurrentLog.of(np.arange(5000.0), amps).remarks)


@settings(max_examples=60, deadline=None)
@given(
    st.text(max_size=400)
    | st.lists(
        st.lists(st.sampled_from(["1", "2,5", "-3.1", "OL", "x", "", "12:00:01"]), max_size=4).map(";".join),
        max_size=80,
    ).map("\n".join)
)
def test_any_text_is_a_log_or_a_told_error(text: str) -> None:
    try:
        outcome: object = parse_log(text).amps.size
    except InputError as error:
        outcome = str(error)
    assert outcome


@pytest.mark.parametrize(
    ("first", "line"),
    [
        ("Zeit;Strom", "{clock};{comma} mA"),
        ("time,current", '{clock},"{comma} mA"'),
        ("time\tcurrent", "{clock}\t{amps_comma} A"),
        ("time;current;unit", "{clock};{comma};mA"),
        ("time,value,unit,range", "{clock},{point},mA,3"),
        ("time current", "{clock} {point}mA"),
    ],
)
def test_units_in_the_cells_or_in_a_column(first: str, line: str) -> None:
    """18.0 mA for an hour, with each way of writing it."""
    rows = []
    for second in range(0, 3600, 10):
        value = 18.0 + (second // 10 % 3) * 0.1
        clock = f"{second // 3600:02}:{second // 60 % 60:02}:{second % 60:02}"
        rows.append(
            line.format(
                clock=clock,
                point=f"{value:.1f}",
                comma=f"{value:.1f}".replace(".", ","),
                amps_comma=f"{value / 1000:.4f}".replace(".", ","),
            )
        )
    log = parse_log("\n".join([first, *rows]))
    assert log.unit_said
    assert log.amps.size == 360
    assert log.amps[:3] == pytest.approx([0.018, 0.0181, 0.0182])


CLOCKS = [f"{22 + (k // 60) // 60 - 24 * (k // 7200)}:{k // 60 % 60:02d}:{k % 60:02d}" for k in range(7200)]


@pytest.mark.parametrize(
    ("head", "row"),
    [
        ("date,time,A", lambda k: f"27.11.2026,{CLOCKS[k]},0.0180"),
        ("time,A", lambda k: f"11/27/2026 {CLOCKS[k]},0.0180"),
        ("time,A", lambda k: f"{int(CLOCKS[k][:2]) - 12}{CLOCKS[k][2:]} PM,0.0180"),
        ("hours,amps", lambda k: f"{k / 3600:.6f},0.0180"),
        ("ms,mA", lambda k: f"{k * 1000},18.0"),
        ("epoch,amps", lambda k: f"{1795000000 + k},0.0180"),
        ("No.,x,A", lambda k: f"{k},{k * 1.0:.1f},0.0180"),
        ("Zeit;Strom mA", lambda k: f"{CLOCKS[k]};{'1.018,0' if k < 60 else '18,0'}"),
        ("| t | A |", lambda k: f"| {k} | 0.0180 |"),
        ("t,A", lambda k: f"{7200 - k},0.0180"),
        ("Ora;Corrente (A)", lambda k: f"{CLOCKS[k]};0,0180"),
        ("timestamp,mA", lambda k: f"{1795000000000 + k * 1000},18.0"),
        ("s;min (mA);max (mA);avg (mA)", lambda k: f"{k};17.0;19.0;18.0"),
        ("t;reading", lambda k: f"{CLOCKS[k]};{'0,0180 A' if k % 2 else '18,0 mA'}"),
    ],
)
def test_times_and_numbers_as_loggers_write_them(head, row):
    log = parse_log("\n".join([head, *map(row, range(7199))]))
    assert log.seconds[-1] == pytest.approx(7198, abs=3)
    assert np.median(log.amps) == pytest.approx(0.018)


def test_a_clamp_in_volts_is_not_taken_for_amperes():
    with pytest.raises(InputError, match="the column 'clamp' is in V, not in A"):
        parse_log("time (s),clamp (V)\n" + "\n".join(f"{k},0.018" for k in range(3700)))
