"""The rules of the house that a machine can watch: see CONTRIBUTING.md."""

import ast
import graphlib
import importlib
import importlib.util
import json
import re
import statistics
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

import grimp
import pytest
from typer.main import get_command

import halfsplit
from bench import house
from bench.__main__ import benchmarks
from bench.__main__ import main as run_bench

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "halfsplit"

FOUNDATION = {"clocks", "delimited", "errors", "joined", "threads", "units", "vin", "quantities"}
MAY_IMPORT = {
    "clocks": set(),
    "delimited": {"clocks", "errors", "units"},
    "errors": set(),
    "joined": set(),
    "units": {"errors"},
    "vin": {"errors"},
    "circuit": FOUNDATION,
    "quantities": set(),
    "notation": FOUNDATION | {"circuit"},
    "harness": FOUNDATION | {"circuit", "notation"},
    "diagnosis": FOUNDATION | {"circuit"},
    "practice": FOUNDATION | {"circuit", "diagnosis"},
    "report": FOUNDATION | {"store"},
    "capture": FOUNDATION,
    "scan": FOUNDATION,
    "drain": FOUNDATION,
    "drawing": FOUNDATION | {"circuit"},
    "diagram": FOUNDATION | {"circuit"},
    "store": {"errors"},
    "job": FOUNDATION
    | {
        "circuit",
        "notation",
        "harness",
        "diagnosis",
        "drawing",
        "diagram",
        "capture",
        "scan",
        "drain",
        "practice",
        "report",
        "store",
    },
    "workbench": FOUNDATION | {"job"},
    # Commands work on files without a job as well, so they go straight to what reads and works them out.
    "cli": FOUNDATION
    | {
        "circuit",
        "notation",
        "harness",
        "diagnosis",
        "practice",
        "capture",
        "scan",
        "drain",
        "report",
        "store",
        "job",
        "workbench",
    },
}
"""Package or module of `halfsplit` -> the others that it may import."""

ONLY_IN = {
    "sqlalchemy": {"store"},
    "alembic": {"store"},
    "psycopg": {"store"},
    "sqlite3": {"store"},
    "fastapi": {"workbench"},
    "starlette": {"workbench"},
    "jinja2": {"workbench"},
    "uvicorn": {"workbench", "cli"},
    "typer": {"cli"},
    "rich": {"cli"},
    "lark": {"notation"},
    "defusedxml": {"diagram", "harness", "scan"},
    "pypdfium2": {"diagram"},
    "fontTools": {"diagram"},
    "typst": {"report"},
    "can": {"scan", "capture"},
    "isotp": {"scan"},
    "udsoncan": {"scan"},
    "asammdf": {"capture"},
    "pyarrow": {"capture"},
    "openpyxl": {"capture"},
}
"""Library -> the packages that may import it."""

PURE = ("halfsplit.circuit", "halfsplit.diagnosis", "halfsplit.capture.measure")
UNUSED_SO_FAR = frozenset(
    {
        "diagnosis/gauge_course.py: course_of",  # a course of readings: nothing shows one yet
        "job/live_scans.py: stop_simulated",  # a test ends what it began
    }
)
"""File and name → why it stays though only tests use it. To be fewer."""


OUTSIDE_WORLD = frozenset(
    """asyncio datetime fileinput glob http io mmap multiprocessing os pathlib pickle random secrets select
    shutil socket sqlalchemy sqlite3 ssl subprocess tempfile threading time urllib uuid zoneinfo""".split()  # noqa: SIM905
)
"""What a pure package may not import. (`importlib.resources` brings its own tables, such as the priors.)"""


def _imports(*, run_time_only: bool) -> list[tuple[str, str]]:
    graph = grimp.build_graph(
        "halfsplit",
        include_external_packages=True,
        exclude_type_checking_imports=run_time_only,
        cache_dir=None,
    )
    return [
        (module, imported)
        for module in sorted(graph.modules)
        if _is_ours(module)
        for imported in sorted(graph.find_modules_directly_imported_by(module))
    ]


@pytest.fixture(scope="module")
def imports() -> list[tuple[str, str]]:
    """Each import: (importing module, imported module), outside libraries by their first name."""
    return _imports(run_time_only=False)


def _is_ours(module: str) -> bool:
    return module.partition(".")[0] == "halfsplit"


def _section(module: str) -> str:
    """The part of the house that a module belongs to; empty for the package's own `__init__`."""
    return [*module.split("."), ""][1]


def test_imports_go_one_way(imports):
    wrong = [
        f"{module} imports {imported}"
        for module, imported in imports
        if _is_ours(imported)
        and _section(module)
        and _section(imported)  # the version and the public names are free
        if _section(module) != _section(imported)
        if _section(imported) not in MAY_IMPORT.get(_section(module), set())
    ]
    assert not wrong


def test_the_public_package_does_not_pull_in_the_workbench(imports):
    assert not [
        imported
        for module, imported in imports
        if module == "halfsplit" and _section(imported) in {"workbench", "cli"}
    ]


def test_no_import_cycles():
    predecessors: dict[str, set[str]] = {}
    for module, imported in _imports(run_time_only=True):
        if _is_ours(imported):
            predecessors.setdefault(module, set()).add(imported)
    graphlib.TopologicalSorter(predecessors).prepare()


def test_libraries_stay_in_their_packages(imports):
    wrong = [
        f"{module} imports {imported}"
        for module, imported in imports
        if imported in ONLY_IN and _section(module) not in ONLY_IN[imported]
    ]
    assert not wrong


def test_pages_and_commands_know_no_arrays(imports):
    wrong = [
        f"{m} imports {i}"
        for m, i in imports
        if _section(m) in {"workbench", "cli"} and i in {"numpy", "scipy"}
    ]
    assert not wrong


def test_pure_packages_do_not_touch_the_outside_world(imports):
    wrong = [f"{m} imports {i}" for m, i in imports if m.startswith(PURE) and i in OUTSIDE_WORLD]
    assert not wrong


@cache
def _modules() -> tuple[Path, ...]:
    return tuple(sorted(SOURCE.rglob("*.py")))


@cache
def _module(path: Path) -> house.Module:
    return house.read(path)


def _nodes(path: Path) -> tuple[ast.AST, ...]:
    return _module(path).nodes


def _calls(path: Path) -> Iterator[tuple[str, ast.Call]]:
    for node in _nodes(path):
        if isinstance(node, ast.Call):
            yield getattr(node.func, "attr", getattr(node.func, "id", "")), node


def test_pure_packages_open_no_file():
    pure = [path for part in PURE for path in (SOURCE.parent / part.replace(".", "/")).rglob("*.py")]
    opening = {
        "open",
        "fromfile",
        "genfromtxt",
        "load",
        "loadtxt",
        "memmap",
        "read_csv",
        "save",
        "savetxt",
        "savez",
    }
    wrong = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path in pure
        for name, call in _calls(path)
        if name in opening
    ]
    assert not wrong


def test_no_random_generator_without_a_seed():
    wrong = [
        f"{path.relative_to(ROOT)}:{call.lineno}"
        for path in _modules()
        for name, call in _calls(path)
        if name == "default_rng" and not call.args and not call.keywords
    ]
    assert not wrong


def test_every_folder_of_modules_is_a_package():
    loose = {path.parent for path in _modules() if "migrations" not in path.parts}
    assert not [str(folder.relative_to(ROOT)) for folder in loose if not (folder / "__init__.py").exists()]


@cache
def _measured() -> list[house.Module]:
    return [_module(path) for path in _modules() if "migrations" not in path.parts]


def test_functions_are_short():
    lengths = sorted(house.length(each) for module in _measured() for each in module.functions)
    assert statistics.median(lengths) < 10
    assert lengths[int(0.9 * len(lengths))] < 30


def test_files_are_short():
    lengths = {
        str(path.relative_to(ROOT)): len(path.read_text(encoding="utf-8").splitlines()) for path in _modules()
    }
    assert not {name: length for name, length in lengths.items() if length > 440}


def _definitions() -> Iterator[tuple[Path, str, ast.stmt]]:
    """Each function, class and constant that a module offers to others; commands and pages hang on a decorator."""
    for path in _modules():
        if "migrations" in path.parts or path.name == "__init__.py":
            continue
        for node in _nodes(path)[0].body:
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
                names = [] if node.decorator_list and not isinstance(node, ast.ClassDef) else [node.name]
            else:
                targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
                names = [target.id for target in targets if isinstance(target, ast.Name)]
            yield from ((path, name, node) for name in names if not name.startswith("__"))


def test_no_name_that_nobody_uses():
    """What only tests use is no part of the program. (`ast` sees no word in a comment or a docstring.)"""
    used: Counter[str] = Counter()
    for folder in ("src", "bench", "tools"):
        for path in (ROOT / folder).rglob("*.py"):
            for node in _nodes(path):
                used.update(_named_by(node))
    told = " ".join(path.read_text(encoding="utf-8") for path in SOURCE.rglob("*.html"))
    idle = [
        f"{path.relative_to(SOURCE)}: {name}"
        for path, name, _ in _definitions()
        if not used[name] and name not in told and name not in halfsplit.__all__
    ]
    assert sorted(set(idle) - UNUSED_SO_FAR) == [], "use it, or leave it out"


def _named_by(node: ast.AST) -> list[str]:
    match node:
        case ast.Name(id=name, ctx=ast.Load()):
            return [name]
        case ast.Attribute(attr=name):
            return [name]
        case ast.ImportFrom(names=names):
            return [one.name for one in names]
        case ast.Constant(value=str(text)) if text.isidentifier():
            return [text]  # a name in a table of names, or an annotation in quotation marks
    return []


UNEXPLAINED, VAGUE, PASSING_THROUGH, USED_ONCE = 4, 14, 4, 0.57
"""Short functions made for one line, names that say nothing, pass-throughs, the share of private functions that one
line uses: to be fewer with each change."""


def test_short_private_functions_are_not_made_for_one_use():
    assert sum(len(house.unexplained(module)) for module in _measured()) <= UNEXPLAINED


def test_most_of_what_one_line_uses_stands_in_that_line():
    times = [times for module in _measured() for _, times in house.private(module)]
    assert times.count(1) <= USED_ONCE * len(times)


def test_names_say_what_the_thing_is():
    assert sum(map(house.vague, _measured())) <= VAGUE


def test_functions_do_more_than_call_another():
    passing = [each.name for module in _measured() for each in module.functions if house.passes_through(each)]
    assert len(passing) <= PASSING_THROUGH, passing


# The pages about the house


def _tool(name: str) -> ModuleType:
    spec = importlib.util.spec_from_file_location(name, ROOT / "tools" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_picture_of_the_house_is_true():
    drawn = _tool("house")
    assert drawn.PICTURE.read_text(encoding="utf-8") == drawn.picture(drawn.imports()), "run tools/house.py"


def test_every_file_that_the_page_about_the_house_names_is_there():
    page = (ROOT / "docs" / "architecture.md").read_text(encoding="utf-8")
    named = re.findall(r"`((?:[\w-]+/)+[\w-]*(?:\.\w+)?)`", page)
    bases = (ROOT, SOURCE, SOURCE / "diagnosis")
    assert len(named) > 40
    assert not [name for name in named if not any((base / name).exists() for base in bases)]


def _numbers() -> list[tuple[str, str]]:
    page = (ROOT / "docs" / "method.md").read_text(encoding="utf-8")
    return re.findall(r"^\| ([-\d.e]+) \|.*\| `([\w.]+)` \|$", page, re.MULTILINE)


@pytest.mark.parametrize(("value", "constant"), _numbers())
def test_a_number_of_the_page_is_that_of_the_program(value, constant):
    module, _, name = constant.rpartition(".")
    assert getattr(importlib.import_module(f"halfsplit.{module}"), name) == float(value)


def test_the_page_tells_the_numbers():
    assert len(_numbers()) > 25


def test_comments_cite_what_is_in_the_repository():
    outside = re.compile(r"\b(?:rulings?|field\.md|engine\.md|job\.md|layout\.md|issue) \d", re.IGNORECASE)
    wrong = [
        f"{path.relative_to(ROOT)}:{number}"
        for path in _modules()
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1)
        if outside.search(line)
    ]
    assert not wrong


def test_a_command_that_needs_no_job_starts_without_what_jobs_and_solutions_need():
    asked = "import sys, halfsplit.cli; print(*sorted({'sqlalchemy', 'scipy', 'numba', 'matplotlib'} & {*sys.modules}))"
    loaded = subprocess.run(
        [sys.executable, "-c", asked], cwd=ROOT / "src", check=True, capture_output=True, text=True
    )
    assert loaded.stdout.split() == []


# What is tracked


@pytest.fixture(scope="module")
def tracked() -> dict[Path, str]:
    """Each tracked text file and its text."""
    listed = subprocess.run(
        ["git", "-c", "safe.directory=*", "ls-files", "-z"],
        cwd=ROOT,
        check=True,
        capture_output=True,
        text=True,
    )
    texts = {}
    for name in filter(None, listed.stdout.split("\0")):
        path = ROOT / name
        data = path.read_bytes() if path.is_file() else b""
        if b"\0" not in data:
            texts[path] = data.decode("utf-8")
    return texts


def test_nothing_of_one_machine_is_tracked(tracked):
    hosts = r"pypi\.org|pythonhosted\.org|npmjs\.(?:org|com)|yarnpkg\.com"
    machine = re.compile(
        rf"""(?<![\w.~}}\])*-])/(?:work|opt|root|home)/[\w.]|{hosts}|\bresolved["']?: ["']?http"""
    )
    wrong = [
        f"{path.relative_to(ROOT)}:{number}: {line.strip()[:80]}"
        for path, text in tracked.items()
        for number, line in enumerate(text.splitlines(), 1)
        if machine.search(line)
    ]
    assert not wrong


def test_links_between_pages_lead_somewhere(tracked):
    wrong = [
        f"{path.relative_to(ROOT)}: {target}"
        for path, text in tracked.items()
        if path.suffix == ".md"
        for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", text)
        if not (path.parent / target).exists()
    ]
    assert not wrong


# Packages


def _names(file: str) -> set[str]:
    lines = (ROOT / "requirements" / file).read_text(encoding="utf-8").splitlines()
    return {line.strip() for line in lines if line.strip() and not line.startswith(("#", "-"))}


def test_the_project_asks_for_the_packages_that_are_locked():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert set(project["dependencies"]) == _names("core.in") - {"editables", "hatchling"}
    assert set(project["optional-dependencies"]["captures"]) == _names("captures.in")


@pytest.mark.parametrize("name", ["core", "captures", "test", "tools"])
def test_locks_hold_hashes_and_no_addresses(name):
    lock = (ROOT / "requirements" / f"{name}.txt").read_text(encoding="utf-8")
    pinned = set(re.findall(r"^([a-z0-9-]+)(?:\[\w+\])?==", lock, re.MULTILINE))
    assert {re.sub(r"\[.*\]", "", wanted) for wanted in _names(f"{name}.in")} <= pinned
    assert lock.count("--hash=sha256:") >= len(pinned)
    assert "://" not in lock
    assert not re.search(r"^-", lock, re.MULTILINE)


def test_browser_packages_are_pinned_without_addresses():
    package = json.loads((ROOT / "frontend/package.json").read_text(encoding="utf-8"))
    lock = json.loads((ROOT / "frontend/package-lock.json").read_text(encoding="utf-8"))
    wanted = package["dependencies"] | package["devDependencies"]
    assert all(re.fullmatch(r"[0-9]+\.[0-9]+\.[0-9]+", version) for version in wanted.values())
    assert {name: lock["packages"][f"node_modules/{name}"]["version"] for name in wanted} == wanted
    assert not any("resolved" in entry for entry in lock["packages"].values())


# Benchmarks and commands


def test_every_benchmark_says_what_it_compares():
    assert not [name for name, text in benchmarks().items() if not text]


def test_an_unknown_benchmark_is_told_the_known_ones(capsys):
    assert run_bench(["no-such-benchmark"]) == 2
    assert "There is no benchmark 'no-such-benchmark'; there are: " in capsys.readouterr().err


def _commands() -> dict[str, object]:
    """Every command by its words ('serve'), from the program itself."""
    from halfsplit.cli import app

    return dict(get_command(app).commands)


def test_every_command_is_in_the_pages():
    shown = (ROOT / "docs" / "commands.md").read_text(encoding="utf-8")
    assert not [name for name in _commands() if f"halfsplit {name}" not in shown]


def test_every_command_that_the_pages_show_exists(tracked):
    shown = {
        name
        for path, text in tracked.items()
        if path.suffix == ".md"
        for name in re.findall(r"^(?: {4}|\$ |\| `|`)halfsplit ([a-z]+)", text, re.MULTILINE)
    }
    assert shown <= set(_commands())


def test_every_command_has_an_example_in_its_help():
    missing = [
        n
        for n, command in _commands().items()
        if f"halfsplit {n}" not in (command.help or "") + (command.epilog or "")
    ]
    assert not missing
