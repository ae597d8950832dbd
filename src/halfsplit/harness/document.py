"""XML from anywhere → a tree with its ids, within bounds: what the readers of both standards share."""

from __future__ import annotations

import re
from collections.abc import Iterator
from types import MappingProxyType
from typing import Any, Final
from xml.etree.ElementTree import (  # the data types; defusedxml does the parsing
    Element,
    ParseError,
    TreeBuilder,
)

from defusedxml.common import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from halfsplit.errors import InputError

LARGEST: Final = 64 * 2**20
"""Bytes of a file."""
MOST_ELEMENTS: Final = 2_000_000
DEEPEST: Final = 200

_PREFIX: Final = MappingProxyType(
    {"micro": 1e-6, "milli": 1e-3, "centi": 1e-2, "deci": 1e-1, "": 1.0, "deca": 10.0, "kilo": 1e3}
)
_METRES: Final = MappingProxyType(
    {"metre": 1.0, "meter": 1.0, "m": 1.0, "mm": 1e-3, "cm": 1e-2, "dm": 0.1, "um": 1e-6, "km": 1e3}
    | {"millimetre": 1e-3, "millimeter": 1e-3, "centimetre": 1e-2, "centimeter": 1e-2}
    | {"inch": 0.0254, "in": 0.0254, "foot": 0.3048, "ft": 0.3048}
)
"""Names of units of length, in either spelling → metres. An inch is 25.4 mm by definition."""


class _Bounded(TreeBuilder):
    """Builds the tree without namespaces; gives up on one that is too large or too deep."""

    def __init__(self) -> None:
        super().__init__()
        self.count = self.depth = 0

    def start(self, tag: str, attrs: dict[str, str], /) -> Element:
        self.count += 1
        self.depth += 1
        if self.count > MOST_ELEMENTS or self.depth > DEEPEST:
            raise InputError(
                f"the file holds more than {MOST_ELEMENTS:,} elements, or nests them more than {DEEPEST} deep",
                remedy="export only the harness in question",
            )
        return super().start(_local(tag), {_local(name): value for name, value in attrs.items()})

    def end(self, tag: str, /) -> Element:
        self.depth -= 1
        return super().end(_local(tag))


def _local(name: str) -> str:
    return name.rpartition("}")[2]


class Document:
    """A parsed file. Names of elements and attributes come without their namespace, which differs from tool to tool."""

    def __init__(self, root: Element) -> None:
        self.root = root
        self.by_id = {element.attrib["id"]: element for element in root.iter() if "id" in element.attrib}

    def refs(self, element: Element | None, path: str) -> Iterator[Element]:
        """The elements that the ids under ``path`` name; ids that nothing has are passed over."""
        if element is not None:
            for child in element.iterfind(path):
                for name in (child.text or "").split():
                    if name in self.by_id:
                        yield self.by_id[name]

    def ref(self, element: Element | None, path: str) -> Element | None:
        return next(self.refs(element, path), None)

    def key(self, element: Element) -> str:
        """The element's id; one without the id that the schemas ask for gets one, so that its wires are not lost."""
        if "id" not in element.attrib:
            element.set("id", f"without-id-{len(self.by_id)}")
            self.by_id[element.attrib["id"]] = element
        return element.attrib["id"]

    def metres(self, value: Element | None) -> float | None:
        """A length in m; None where there is none. Without a unit it is taken as mm."""
        return self._scaled(value, 1)

    def mm2(self, value: Element | None) -> float | None:
        """A cross-section in mm2; None where there is none."""
        metres2 = self._scaled(value, 2)
        return None if metres2 is None else round(metres2 * 1e6, 9)

    def _scaled(self, value: Element | None, power: int) -> float | None:
        amount = number(value)
        if amount is None or amount <= 0:
            return None
        units = [*self.refs(value, "Unit_component"), *self.refs(value, "UnitComponent")]
        # Metres of a unit of length, or of the side of a unit of area. Unknown ones count as mm.
        metres = 1e-3
        if units:
            unit = units[0]
            name = (text(unit, "Si_unit_name") or text(unit, "SiUnitName")).lower()
            prefix = (text(unit, "Si_prefix") or text(unit, "SiPrefix")).lower()
            tags = [each.tag for each in unit if each.tag.lower().endswith(("unitname", "unit_name"))]
            words = " ".join(text(unit, tag) for tag in tags).lower().replace("qmm", "mm").replace("µ", "u")
            plain = re.sub(r"square|sq|[\^\d²\s]", "", words)
            metres = _METRES[name] * _PREFIX.get(prefix, 1.0) if name in _METRES else _METRES.get(plain, 1e-3)
        return amount * metres**power


def number(value: Element | None) -> float | None:
    """The number of a value with a unit, also of one with a decimal comma; None where there is none."""
    if value is None:
        return None
    said = text(value, "Value_component") or text(value, "ValueComponent") or (value.text or "").strip()
    try:
        return float(said.replace(",", "."))
    except ValueError:
        return None


def text(element: Element | None, path: str) -> str:
    """The text at ``path``, without spaces around it; '' where there is none or it is a word for none."""
    words = "" if element is None else " ".join((element.findtext(path) or "").split())
    return "" if words.upper() in ("/NULL", "NULL", "-", "NONE", "N/A") else words


def kind(element: Element) -> str:
    """The class of an element: its `xsi:type` where it has one, else its name."""
    return element.attrib.get("type", element.tag).rpartition(":")[2]


def parse(data: bytes, name: str = "") -> Document:
    """The tree of an XML file. Raises InputError where it is too large, broken, or not what it seems."""
    if len(data) > LARGEST:
        raise InputError(
            f"it has {len(data) / 2**20:.0f} MB, {LARGEST // 2**20} MB are read",
            remedy="export only the harness in question",
            where=name,
        )
    parser: Any = DefusedXMLParser(target=_Bounded())
    try:
        parser.feed(data)
        return Document(parser.close())
    except ParseError as error:
        problem, remedy = f"it is not complete XML: {error}", "export or copy it again"
    except DefusedXmlException:
        problem = "it defines entities of its own, as files made to do harm have them"
        remedy = "export it again without a document type"
    except InputError as error:
        problem, remedy = error.message, error.remedy
    except (LookupError, ValueError) as error:
        problem, remedy = f"its text cannot be read: {error}", "save it as UTF-8"
    raise InputError(problem, remedy=remedy, where=name)
