"""Templates and data to PDF/A-2b (ISO 19005-2, level B: it looks the same in years).

Data reaches a template as a file of JSON, so that no text is ever markup.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import typst

from halfsplit.errors import MissingProgramError


def make_pdf(
    template: str, data: Mapping[str, Any], at: datetime, pictures: Mapping[str, bytes] | None = None
) -> bytes:
    """Set ``template`` (a name in ``report/templates``) with ``data``. ``at`` is the date that the file bears.

    ``pictures``: file name → bytes, as the data names them. The fonts are those that come along with matplotlib, so
    that every machine gives the same bytes.
    """
    files = {"data.json": json.dumps(data, sort_keys=True).encode()}
    with TemporaryDirectory(prefix="halfsplit-") as folder:  # the library reads pictures from a folder only
        for name, content in {**_templates(), **files, **(pictures or {})}.items():
            Path(folder, name).write_bytes(content)
        return typst.compile(
            Path(folder, f"{template}.typ"),
            root=Path(folder),
            format="pdf",
            font_paths=_fonts(),
            ignore_system_fonts=True,
            pdf_standards="a-2b",
            timestamp=int(at.timestamp()),
        )


@cache
def _templates() -> dict[str, bytes]:
    folder = files("halfsplit.report").joinpath("templates")
    return {file.name: file.read_bytes() for file in folder.iterdir() if file.name.endswith(".typ")}


@cache
def _fonts() -> typst.Fonts:
    """DejaVu, which covers Latin, Greek, Cyrillic, Hebrew, Arabic and the signs of the trade; searched for once."""
    package = find_spec("matplotlib")
    for folder in (package.submodule_search_locations or ()) if package else ():
        fonts = Path(folder, "mpl-data", "fonts", "ttf")
        if fonts.joinpath("DejaVuSans.ttf").exists():
            return typst.Fonts(include_system_fonts=False, font_paths=[fonts])
    raise MissingProgramError("reports need the fonts that come with matplotlib: install matplotlib")
