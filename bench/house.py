"""The house in figures: how much code, how it is cut into functions, and how far four things travel through it.

    python -m bench house [FOLDER …]

Without folders the package itself and, beside it, libraries of the environment that are read by many. A file counts in
lines with code on them (no blank, comment or docstring). A private function is used once if its module names it once.
A function passes through if all it does is to call another with its own arguments. For the ways through the house
each thing is done once under a profiler: rooms are the packages whose code ran, files theirs, and turns the pairs of
rooms of which one called the other.
"""

from __future__ import annotations

import ast
import importlib.util
import io
import statistics
import sys
import tempfile
import threading
import tokenize
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

ANCHORS = ("starlette", "httpx2", "fastapi", "jinja2", "networkx")
VAGUE = ("one", "found", "told")
"""Names that do not say what the thing is."""
SILENT = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}
Function = ast.FunctionDef | ast.AsyncFunctionDef
SOURCE = Path(__file__).parents[1] / "src" / "halfsplit"


@dataclass(frozen=True)
class Module:
    """A file of code."""

    path: Path
    nodes: tuple[ast.AST, ...]

    @property
    def lines(self) -> int:
        """How many have code on them."""
        code: set[int] = set()
        text = self.path.read_text(encoding="utf-8")
        for token in tokenize.generate_tokens(io.StringIO(text).readline):
            if token.type not in SILENT:
                code.update(range(token.start[0], token.end[0] + 1))
        for node in self.nodes:
            match node:
                case ast.Expr(value=ast.Constant(value=str())):
                    code.difference_update(range(node.lineno, (node.end_lineno or node.lineno) + 1))
        return len(code)

    @property
    def functions(self) -> list[Function]:
        return [node for node in self.nodes if isinstance(node, Function)]


def read(path: Path) -> Module:
    """Read a file; its first node is the whole of it."""
    return Module(path, tuple(ast.walk(ast.parse(path.read_text(encoding="utf-8")))))


def modules(folder: Path) -> list[Module]:
    """Each file of a package."""
    return [read(path) for path in sorted(folder.rglob("*.py")) if "migrations" not in path.parts]


def length(function: Function) -> int:
    """Lines of a function without its docstring, its head counted as one."""
    body = function.body[1:] if ast.get_docstring(function) and function.body[1:] else function.body
    return (function.body[-1].end_lineno or 0) - body[0].lineno + 2


def used(module: Module) -> Counter[str]:
    """How often a module names each name."""
    return Counter(
        node.id if isinstance(node, ast.Name) else node.attr
        for node in module.nodes
        if isinstance(node, ast.Name | ast.Attribute) and isinstance(node.ctx, ast.Load)
    )


def private(module: Module) -> list[tuple[Function, int]]:
    """The private functions of a module and how often each is used there."""
    times = used(module)
    return [
        (each, times[each.name])
        for each in module.functions
        if each.name.startswith("_") and not each.name.startswith("__")
    ]


def unexplained(module: Module) -> list[str]:
    """The private functions of under four lines that are called once, with no sentence of their own to say why.

    What stands in a table or is handed on is not called; a decorator hands on too.
    """
    called = {
        ast.unparse(node.func).rpartition(".")[2] for node in module.nodes if isinstance(node, ast.Call)
    }
    text = module.path.read_text(encoding="utf-8").splitlines()
    return [
        each.name
        for each, times in private(module)
        if times == 1 and length(each) < 5 and each.name in called and not each.decorator_list
        if not ast.get_docstring(each) and not text[each.lineno - 2].lstrip().startswith("#")
    ]


def passes_through(function: Function) -> bool:
    """Whether a function only calls another with its own arguments."""
    body = function.body[1:] if ast.get_docstring(function) else function.body
    match body:
        case [ast.Return(value=ast.Call(args=given, keywords=named))] if not function.decorator_list:
            own = [
                each.arg for each in (*function.args.args, *function.args.kwonlyargs) if each.arg != "self"
            ]
            handed = [ast.unparse(each) for each in (*given, *(key.value for key in named))]
            return bool(own) and handed == own
    return False


def vague(module: Module) -> int:
    """How often a vague name is given to something: an argument, a variable, a field."""
    return sum(
        (isinstance(node, ast.arg) and node.arg in VAGUE)
        or (isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store) and node.id in VAGUE)
        for node in module.nodes
    )


def figures(folder: Path) -> dict[str, str]:
    """The figures of a package, by what they count."""
    package = modules(folder)
    hidden = [each for module in package for each in private(module)]
    once = [function for function, times in hidden if times == 1]
    lengths = sorted(length(function) for module in package for function in module.functions)
    share = len(once) / max(len(hidden), 1)
    return {
        "code lines": f"{sum(module.lines for module in package):,}",
        "files": str(len(package)),
        "functions": f"{len(lengths):,}",
        "private functions": f"{len(hidden):,}",
        "of these used once": f"{len(once):,} ({share:.0%})",
        "of these under four lines": str(sum(length(function) < 5 for function in once)),
        "called, without a sentence": str(sum(len(unexplained(module)) for module in package)),
        "function length: median": f"{statistics.median(lengths):g}",
        "90 %": str(lengths[int(0.9 * len(lengths))]),
        "longest": str(lengths[-1]),
        "pass-throughs": str(sum(passes_through(each) for module in package for each in module.functions)),
        "names one, found, told": str(sum(map(vague, package))),
    }


# Ways through the house


def travelled(do: Callable[[], object]) -> tuple[int, int, int]:
    """Rooms, files and turns of what is done."""
    files: set[str] = set()
    turns: set[tuple[str, str]] = set()

    def watch(frame: FrameType, event: str, _argument: Any) -> None:
        here = _ours(frame)
        if event == "call" and here:
            files.add(frame.f_code.co_filename)
            caller = frame.f_back
            while caller is not None and not _ours(caller):
                caller = caller.f_back
            if caller is not None and _ours(caller) != here:
                turns.add((_ours(caller), here))

    threading.setprofile(watch)
    sys.setprofile(watch)
    try:
        do()
    finally:
        sys.setprofile(None)
        threading.setprofile(None)
    rooms = {Path(file).relative_to(SOURCE).parts[0] for file in files}
    return len(rooms), len(files), len(turns)


def _ours(frame: FrameType) -> str:
    """The room of a frame; empty outside the house."""
    path = Path(frame.f_code.co_filename)
    return path.relative_to(SOURCE).parts[0] if path.is_relative_to(SOURCE) else ""


def _page(client: Any, path: str, **sent: Any) -> str:
    """The address that follows from what is sent there, after its page was shown."""
    address: str = client.post(path, **sent).headers["location"]
    client.get(address).raise_for_status()
    return address


def ways() -> dict[str, Callable[[], object]]:
    """What is done -> how, each prepared on a job of its own store."""
    from fastapi.testclient import TestClient

    from halfsplit import Circuit
    from halfsplit.job import Intake, JobStore, OpenJob, complain_all, open_job
    from halfsplit.job.captures import capture_lines
    from halfsplit.job.examples import starting
    from halfsplit.notation.library import sample
    from halfsplit.workbench.app import create_app
    from tests.workbench.rear_feed import ARRIVAL, CIRCUIT, COMPLAINTS

    store = JobStore(f"sqlite:///{tempfile.mkdtemp()}/jobs.db")
    open_job(store, Intake(), who="Ada", job_id="house", circuit=CIRCUIT)
    client = TestClient(create_app(store), base_url="http://127.0.0.1", follow_redirects=False)
    job, text, recorded = OpenJob(store, "house", "Ada"), sample("relay-load").text, starting().encode()
    complain_all(job, COMPLAINTS)

    def reading() -> None:
        entry = {
            "quantity": "volts",
            "at": "G1.+",
            "to": "G1.-",
            "state": "all on",
            "typed": "12.4",
            "unit": "V",
        }
        _page(client, "/jobs/house/evidence", data=entry)

    def capture() -> None:
        _page(client, "/jobs/house/captures", files={"file": ("start.csv", recorded)})
        (line,) = capture_lines(job)
        path = f"/jobs/house/captures/{line.kept.attachment_id}"
        between = {"key": "mean 0", "begin": "0.05", "end": "0.25", "confirmed": "1"}
        _page(client, f"{path}/evidence", data={"at": "G1.+", "to": "G1.-", "state": "all on", **between})

    def scan() -> None:
        sent = {"text": ARRIVAL, "moment": "arrival"}
        kept = _page(client, "/jobs/house/scan/paste", data=sent).partition("report=")[2]
        _page(client, f"/jobs/house/scan/{kept}/table", data={"then": "tell", "state": "all on"})
        client.get("/jobs/house/scan/cause").raise_for_status()

    return {
        "a reading from the tap to the page": reading,
        "a circuit's text to the network": lambda: Circuit.parse(text).network,
        "a capture to evidence": capture,
        "a scan to a shared cause": scan,
    }


def main(arguments: list[str]) -> int:
    """Print both tables."""
    named = [Path(each) for each in arguments] or [SOURCE, *_anchors()]
    columns = [figures(folder) for folder in named]
    print(f"| | {' | '.join(folder.name for folder in named)} |\n| --- |{' ---: |' * len(named)}")
    for row in columns[0]:
        print(f"| {row} | {' | '.join(column[row] for column in columns)} |")
    if arguments:
        return 0
    print("\n| on the way | rooms | files | turns |\n| --- | ---: | ---: | ---: |")
    for way, do in ways().items():
        print(f"| {way} | {' | '.join(map(str, travelled(do)))} |")
    return 0


def _anchors() -> list[Path]:
    specs = [importlib.util.find_spec(name) for name in ANCHORS]
    return [Path(spec.origin).parent for spec in specs if spec is not None and spec.origin]


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
