"""Published problems and values of test sequencing and information theory, each with its source."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

# Cormen, Leiserson, Rivest & Stein, Introduction to Algorithms, section 'Huffman codes': six letters, 224 000
# bits for 100 000 characters.
CORMEN_LETTERS = (0.45, 0.13, 0.12, 0.16, 0.09, 0.05)
CORMEN_LENGTH = 2.24

# Ids of the entries in the outside file, so that each is a test of its own; see the file for their provenance.
SEQUENCES = (
    "pattipati_alexandridis_1990_5fault",
    "series_chain_uniform8",
    "series_chain_humped7",
    "series_chain_connector_heavy9",
    "series_chain_uniform8_middle_point_costs_6",
    "all_subsets_dyadic",
    "all_subsets_letters6",
)


def known_optimum(outside_data: Callable[[str], Path], name: str) -> dict[str, Any]:
    """Return one entry of the outside file; skips (in ``outside_data``) where the file is absent."""
    text = (outside_data("sequential") / "known_optimum.json").read_text(encoding="utf-8")
    return {entry["id"]: entry for entry in json.loads(text)}[name]
