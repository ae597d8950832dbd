"""Reports as JSON or XML, brought to plain lines: one line for each unit, each code, and each other value.

Names of fields are taken for what they say (`name`, `answers`, `codes`, in five languages); what has none is a line of
its own, `field: value`, so that nothing is dropped.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from typing import Any

from defusedxml import ElementTree
from defusedxml.common import DefusedXmlException

from halfsplit.scan import vocabulary
from halfsplit.scan.find import codes_in
from halfsplit.scan.status_words import status_terms
from halfsplit.scan.vocabulary import column_of, folded

Tree = Mapping[str, Any] | list[Any] | str | int | float | bool | None

DEEPEST = 40
_ANSWERS, _NAME, _CODE, _LISTS, _HOLDERS, _STATUS = map(re.compile, vocabulary.WORDS["fields"].values())


def structured_lines(text: str) -> list[str] | None:
    """The lines of a report in JSON or XML; None where the text is neither."""
    text = text.strip().lstrip("\ufeff")
    tree: Tree = None
    root = None
    try:
        if text[:1] in ("{", "["):
            tree = json.loads(text)
        elif text[:1] == "<":
            root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, DefusedXmlException, ValueError, RecursionError):
        return None
    if root is not None and _local(root.tag) != "html":
        tree = {_local(root.tag): _element(root, 0)}
    return list(_lines(tree, "", 0)) if isinstance(tree, Mapping | list) else None


def _local(tag: Any) -> str:
    return str(tag).rpartition("}")[2]


def _element(element: Any, depth: int) -> Tree:
    """An element as a mapping of its attributes and children; children of one name are a list."""
    fields: dict[str, Any] = {_local(name): value for name, value in element.attrib.items()}
    words = (element.text or "").strip()
    for child in element if depth < DEEPEST else ():
        inside = _element(child, depth + 1)
        before = fields.get(_local(child.tag))
        several = before if isinstance(before, list) else [] if before is None else [before]
        fields[_local(child.tag)] = [*several, inside] if several else inside
    if not fields:
        return words
    return fields | ({"text": words} if words else {})


def _key(name: str) -> str:
    """A field's name in small letters: `FaultCodes`, `fault-codes` and `fault codes` are one."""
    return re.sub(r"[\W_]+", "_", folded(re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name))).strip("_")


def _lines(tree: Tree, name: str, depth: int) -> Iterator[str]:
    if depth > DEEPEST:
        yield f"{name}: {json.dumps(tree)[:1500]}"
    elif isinstance(tree, Mapping):
        yield from _mapping(tree, name, depth)
    elif isinstance(tree, list):
        if not tree:
            yield "no codes" if _LISTS.fullmatch(_key(name)) else f"{name}: none"
        # Whether the name over a list of codes is a unit's: it says nothing of codes, lists, holders or a status.
        is_unit = bool(name) and not any(
            _LISTS.fullmatch(word) or _HOLDERS.fullmatch(word) or _CODE.fullmatch(word) or status_terms(word)
            for word in _key(name).split("_")
        )
        if is_unit and any(codes_in(str(item)) for item in tree if not isinstance(item, Mapping | list)):
            yield f"Unit: {name}"
        for item in tree:
            if isinstance(item, list) and not any(isinstance(cell, Mapping | list) for cell in item):
                yield "; ".join(str(cell) for cell in item if cell is not None)
            elif isinstance(item, Mapping | list):
                yield from _lines(item, name, depth + 1)
            elif _LISTS.fullmatch(_key(name)) or codes_in(str(item)):
                yield "; ".join((f"    {item}", *status_terms(_key(name).replace("_", " "))))
            else:
                yield f"{name}: {item}"
    else:
        yield _scalar(name, "" if tree is None else str(tree))


def _mapping(tree: Mapping[str, Any], name: str, depth: int) -> Iterator[str]:
    keys = {key: _key(str(key)) for key in tree}
    if code := _code_line(tree, keys):
        yield f"    {code}"
        return
    unit = _unit_of(tree, keys, name)
    if unit:
        yield ""
        yield f"Unit: {unit[0]}"
    answers = {key: _answer(keys[key], value) for key, value in tree.items()}
    for key, value in sorted(tree.items(), key=lambda field: isinstance(field[1], Mapping | list)):
        if unit and key == unit[1]:
            continue
        if said := answers[key]:
            yield said
        elif value is None:
            if not _LISTS.fullmatch(keys[key]):
                yield f"{key}: none"
        elif value != [] or _SILENT not in answers.values():
            yield from _lines(value, str(key), depth + 1)


_SILENT = "    does not answer"


def _answer(key: str, value: Any) -> str | None:
    """Whether a field says that a unit answers, as a line."""
    if not _ANSWERS.fullmatch(key) or isinstance(value, Mapping | list):
        return None
    words = folded(str(value)).strip()
    if value is None or vocabulary.NEGATIVE.fullmatch(words):
        return _SILENT
    return "    Communication: ok" if vocabulary.AFFIRMATIVE.fullmatch(words) else None


def _unit_of(tree: Mapping[str, Any], keys: Mapping[str, str], name: str) -> tuple[str, str] | None:
    """(name, its field) of the unit that a mapping describes, if it describes one."""
    tells = any(_ANSWERS.fullmatch(key) or _LISTS.fullmatch(key) for key in keys.values())
    holder = _HOLDERS.fullmatch(_key(name))
    for key, value in tree.items():
        if (tells or holder) and _NAME.fullmatch(keys[key]) and isinstance(value, str) and value.strip():
            return value, key
    return (name, "") if tells and name and not holder and not _LISTS.fullmatch(_key(name)) else None


def _code_line(tree: Mapping[str, Any], keys: Mapping[str, str]) -> str:
    """A mapping that describes one code, as one line, or nothing."""
    flat = {key: value for key, value in tree.items() if not isinstance(value, Mapping | list)}
    code = next((key for key in flat if _CODE.fullmatch(keys[key]) and codes_in(str(flat[key]))), None)
    plain = ("code", "dtc", "fault_code", "fehlercode")
    code = code or next((key for key in flat if keys[key] in plain and flat[key] is not None), None)
    if code is None or any(_LISTS.fullmatch(keys[key]) and isinstance(tree[key], list) for key in tree):
        return ""
    rest = []
    for key, value in flat.items():
        if key == code or value in (None, ""):
            continue
        if _STATUS.fullmatch(keys[key]):
            rest.append(f"status: {value}")
        elif isinstance(value, bool):
            status = keys[key] in ("present", "active", "confirmed", "pending", "stored")
            rest.append(key if value else f"not {key}" if status else f"{key}: no")
        else:
            rest.append(str(value) if column_of(keys[key]) == "words" else f"{key}: {value}")
    inner = [f"{key}: {json.dumps(tree[key])[:300]}" for key in tree if key not in flat]
    return "; ".join([str(flat[code]), *rest, *inner])


def _scalar(name: str, words: str) -> str:
    if _LISTS.fullmatch(_key(name)):
        if codes_in(words):
            return f"    {words}"
        if words in ("0", "") or vocabulary.NEGATIVE.fullmatch(folded(words)):
            return "    no codes"
        if words.isdigit():
            return f"    {words} faults"
    return f"{name}: {words}" if name else words
