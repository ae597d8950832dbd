"""A file of either standard → `Harness`."""

from __future__ import annotations

from halfsplit.errors import InputError
from halfsplit.harness import kbl, vec
from halfsplit.harness.data import Harness
from halfsplit.harness.document import parse


def read(data: bytes, name: str = "") -> Harness:
    """The harness in a KBL or VEC file. Raises InputError where it is neither, broken, or holds no wires."""
    document = parse(data, name)
    try:
        if kbl.is_kbl(document):
            return kbl.read(document)
        if vec.is_vec(document):
            return vec.read(document)
    except InputError as error:
        raise InputError(error.message, remedy=error.remedy, where=name) from None
    raise InputError(
        f"its outermost element is {document.root.tag[:40]!r}: it is neither KBL nor VEC",
        remedy="export the harness as KBL (2.3 to 2.5) or VEC (1.2 or 2)",
        where=name,
    )
