"""`python -m bench` lists the benchmarks, `python -m bench NAME …` runs one, `… all` runs each."""

import ast
import importlib
import sys
from pathlib import Path


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
    return run(name, rest)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
