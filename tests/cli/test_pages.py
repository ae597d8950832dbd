"""What the pages and the README show is what the program does."""

from __future__ import annotations

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_the_example_of_the_python_page_runs(capsys):
    page = (ROOT / "docs" / "python.md").read_text(encoding="utf-8")
    code = re.search(r"(?:^ {4}.*\n|^\n)+", page, re.MULTILINE)[0]
    demo = ROOT / "src" / "halfsplit" / "notation" / "demos" / "heated-screen.circuit"
    exec(re.sub(r"^ {4}", "", code, flags=re.MULTILINE).replace("heated-screen.circuit", str(demo)), {})
    assert capsys.readouterr().out.splitlines()[-1].startswith("X60.2 high resistance")
