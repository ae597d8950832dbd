"""Write docs/walks: what `halfsplit find` prints on each demo circuit, answered by a vehicle with the hidden cause.

The beginning and the end of the first go into README.md.

    .venv/bin/python tools/walks.py

tests/cli/test_walks.py holds the pages against what the program prints.
"""

from __future__ import annotations

import json
import re
import tempfile
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from halfsplit.cli import app

DEMOS = files("halfsplit.notation") / "demos"
PAGES = Path(__file__).parents[1] / "docs" / "walks"
README = Path(__file__).parents[1] / "README.md"
SHOWN = "rear-lamps"
SEED = 1
INSTRUMENTS = ("meter", "test lamp", "21 W lamp", "clamp")


def demos() -> dict[str, dict[str, Any]]:
    """The demos by name, as demos.toml tells them."""
    return tomllib.loads((DEMOS / "demos.toml").read_text(encoding="utf-8"))


def script(demo: dict[str, Any]) -> dict[str, Any]:
    """A script of `find`: what the customer and the scan tool say, and the vehicle."""
    return {
        "complaints": [
            {"load": one["part"], "works": one["works"], "state": one["state"]} for one in demo["complaints"]
        ],
        "earlier_work": [
            {"places": [work["place"]], "began_then": work["complaint_began"]}
            for work in demo["earlier_work"]
        ],
        "codes": [{"unit": one["unit"], "failure": one["kind"], "pin": one["pin"]} for one in demo["codes"]],
        "instruments": list(INSTRUMENTS),
        "vehicle": {"fault": demo["hidden"], "seed": SEED},
    }


def walked(name: str, *options: str) -> tuple[int, str]:
    """Exit status and standard output of the run on one demo."""
    with tempfile.TemporaryDirectory() as folder:
        answers = Path(folder) / "answers.json"
        answers.write_text(json.dumps(script(demos()[name])), encoding="utf-8")
        result = CliRunner().invoke(
            app, ["find", str(DEMOS / f"{name}.circuit"), "--script", str(answers), *options]
        )
    return result.exit_code, result.stdout


SWAPPED = (("X40.1 -- H1", "X40.1 -- H2"), ("X40.2 -- H2", "X40.2 -- H3"), ("X40.3 -- H3", "X40.3 -- H1"))
"""What the vehicle of the walk that nothing drawn explains has otherwise than the drawing of the rear lamps."""
NOT_DRAWN = "nothing-drawn"
GLOWS = (("H1", "no", "side lamps"), ("H3", "yes", "brake"), ("H6", "yes", "brake"))


def not_as_drawn() -> tuple[int, str]:
    """Exit status and standard output on the rear lamps, by a vehicle with three wires in each other's cavities."""
    real = (DEMOS / f"{SHOWN}.circuit").read_text(encoding="utf-8")
    for drawn, there in SWAPPED:
        assert drawn in real, drawn  # noqa: S101 - the demo has changed
        real = real.replace(drawn, there)
    said = {
        "complaints": [{"load": load, "works": works, "state": state} for load, works, state in GLOWS],
        "earlier_work": [{"places": ["X40"], "began_then": True}],
        "instruments": list(INSTRUMENTS),
        "vehicle": {"fault": "nothing wrong", "circuit": "real.circuit", "seed": SEED + 1},
    }
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / "real.circuit").write_text(real, encoding="utf-8")
        answers = Path(folder) / "answers.json"
        answers.write_text(json.dumps(said), encoding="utf-8")
        result = CliRunner().invoke(app, ["find", str(DEMOS / f"{SHOWN}.circuit"), "--script", str(answers)])
    return result.exit_code, result.stdout


def page_not_drawn(printed: str) -> str:
    """The page of the walk that nothing drawn explains."""
    return f"""# Nothing drawn explains this

The panel van of [the rear lamps](rear-lamps.md) once more, invented again. This time its ground is good, but whoever
put the terminals back into the plug X40 turned three of them round by one: the side lamp's wire feeds the brake lamp,
the brake lamp's the indicator, the indicator's the side lamp. No drawing shows that, and no list has it: the list of
what is not drawn has two wires exchanged, not three. The vehicle is simulated from a circuit of its own, with the
error of the instruments. Below is what `halfsplit find` printed: this page is made by `tools/walks.py`, and a test
holds it against the program.

```text
{printed.rstrip()}
```
"""


def page(name: str, demo: dict[str, Any], printed: str) -> str:
    """The page of one demo."""
    earlier = "\n".join(f"- {work['place']}: {work['words']}" for work in demo["earlier_work"])
    return f"""# {demo["title"]}

{demo["vehicle"]}. The scenario is invented. The customer says: "{demo["customer"]}"

What was done before:

{earlier}

The hidden cause is `{demo["hidden"]}`. {demo["explanation"]} The vehicle is simulated, with
the error of the instruments. Below is what `halfsplit find` printed: this page is made by `tools/walks.py`, and a test
holds it against the program.

```text
{printed.rstrip()}
```
"""


def excerpt(printed: str) -> str:
    """The complaint, the first test and its reading, and how it ends, as an indented block."""
    blocks = printed.strip().split("\n\n")
    left_out = len(blocks) - 3
    tests = "one more test" if left_out == 1 else f"{left_out} more tests"
    first = "\n".join(line for line in blocks[0].splitlines() if line.startswith("  "))
    lines = [first, blocks[1], f"[… {tests} …]", blocks[-1]]
    return "\n\n".join("\n".join("    " + line for line in block.splitlines()) for block in lines)


def with_excerpt(readme: str, printed: str) -> str:
    """The README with its example replaced: the indented block of the chapter on the demo."""
    head, title, rest = readme.partition("## The demo")
    text, _, tail = re.split(r"\n\n((?:    .*\n|\n)+)", rest, maxsplit=1)
    return f"{head}{title}{text}\n\n{excerpt(printed)}\n\n{tail}"


def main() -> None:
    """Make every page."""
    PAGES.mkdir(exist_ok=True)
    for name, demo in demos().items():
        _, printed = walked(name)
        (PAGES / f"{name}.md").write_text(page(name, demo, printed), encoding="utf-8")
        if name == SHOWN:
            readme = README.read_text(encoding="utf-8")
            README.write_text(with_excerpt(readme, printed), encoding="utf-8")
    (PAGES / f"{NOT_DRAWN}.md").write_text(page_not_drawn(not_as_drawn()[1]), encoding="utf-8")


if __name__ == "__main__":
    main()
