"""`python -m bench` lists the benchmarks, `python -m bench NAME …` runs one, `… all` runs each.

`--before FOLDER` behind a name runs it in an earlier checkout as well, and prints both and their ratio.
"""

import argparse
import ast
import importlib
import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

FIGURE = re.compile(r"^\s*(\S+(?: \S+)*?)(?:\s{2,}|: )(\d+(?:\.\d+)?(?:\s{2,}\d+(?:\.\d+)?)*)(?:\s+\D.*)?$")
"""A line of a table: what it tells, and its numbers."""


def benchmarks() -> dict[str, str]:
    """Name -> first line of the docstring, of each module beside this one that defines `main`."""
    found = {}
    for path in sorted(Path(__file__).parent.glob("*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        if any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body):
            found[path.stem] = (ast.get_docstring(tree) or "").partition("\n")[0]
    del found["__main__"]
    return found


def run(name: str, arguments: list[str]) -> int:
    """Run one benchmark; its exit status is 1 where a ratio misses its aim."""
    print(f"== {name}", flush=True)
    status: int = importlib.import_module(f"bench.{name}").main(arguments)
    return status


def figures(folder: Path, arguments: list[str]) -> Iterator[tuple[str, list[float]]]:
    """What each line of a benchmark tells and its numbers, run in a checkout with this Python."""
    path = os.pathsep.join(str(folder / place) for place in ("src", "."))
    text = subprocess.run(
        [sys.executable, "-m", "bench", *arguments],
        cwd=folder,
        env=os.environ | {"PYTHONPATH": path},
        stdout=subprocess.PIPE,
        text=True,
        check=False,
    ).stdout
    for line in text.splitlines():
        if told := FIGURE.match(line):
            yield told[1], [float(number) for number in told[2].split()]


def compared(folder: Path, arguments: list[str]) -> None:
    """Print the figures of each line here and in an earlier checkout, whose lines may be fewer."""
    before: dict[str, list[list[float]]] = {}
    for told, numbers in figures(folder.resolve(), arguments):
        before.setdefault(told, []).append(numbers)
    print(f"{'':52}{'now':>24}{'before':>24}{'ratio':>18}")
    for told, numbers in figures(Path.cwd(), arguments):
        if before.get(told):
            was = before[told].pop(0)
            ratios = [now / then if then else float("nan") for now, then in zip(numbers, was, strict=False)]
            columns = [" ".join(f"{each:.2f}" for each in some) for some in (numbers, was, ratios)]
            print(f"{told:52}{columns[0]:>24}{columns[1]:>24}{columns[2]:>18}")


def main(arguments: list[str]) -> int:
    """List the benchmarks, or run the one that is named, or all."""
    known = benchmarks()
    if not arguments:
        print("\n".join(f"{name:<16} {text}" for name, text in known.items()))
        return 0
    name, *rest = arguments
    if name == "all":
        return max((run(each, []) for each in known), default=0)
    if name not in known:
        print(f"There is no benchmark '{name}'; there are: {', '.join(known)}", file=sys.stderr)
        return 2
    parser = argparse.ArgumentParser(prog=f"python -m bench {name}", add_help=False, allow_abbrev=False)
    parser.add_argument("--before", type=Path)
    given, rest = parser.parse_known_args(rest)
    if given.before is None:
        return run(name, rest)
    if not (given.before / "bench").is_dir():
        parser.error(f"{given.before} is no checkout of this project")
    compared(given.before, [name, *rest])
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
