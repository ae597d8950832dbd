"""KBL 2.3 to 2.5 (VDA 4964, "Kabelbaumliste") → `Harness`: which of its elements become what.

===========================  ================================================================================
element                      becomes
===========================  ================================================================================
Connector_occurrence         a place; its ``Usage`` and its housing tell which kind
Component_box_occurrence     a carrier, with a seat for each of its slots
Component_occurrence         what is put into a seat: fuse with its rating, relay
Special_terminal_occurrence  the words of the ring terminal that it is
Connection                   a wire for each two neighbouring ``Extremities``
General_wire, Core           cross-section and colour of a wire
Harness_configuration        a configuration: what its modules control
===========================  ================================================================================

All else (routing, seals, plugs, tapes, mass, drawing) says nothing about current and is passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import partial
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.errors import InputError
from halfsplit.harness.data import Core, End, Harness, Place, PlaceKind
from halfsplit.harness.document import Document, kind, text
from halfsplit.harness.kbl_carriers import seats
from halfsplit.harness.shared import KBL, colour, cores, length, ordered_ends

USAGE: Final[Mapping[str, PlaceKind]] = MappingProxyType(
    {"splice": "splice", "ring terminal": "ring", "no end": "loose", "dangler": "loose"}
)
"""``Connector_usage`` of the schema → the kind of place."""

PLACES: Final = (
    "Connector_occurrence",
    "Component_box_occurrence",
    "Special_terminal_occurrence",
    "Accessory_occurrence",
    "Assembly_part_occurrence",
)
"""Occurrences of a harness that may hold contact points."""

_SPLICE: Final = re.compile(r"splice|splei(?:ss|ß)|crimp(?:verbinder)?\b|ultraschall", re.IGNORECASE)


def read(document: Document) -> Harness:
    """The harness of a KBL document. Raises InputError where it holds none."""
    harness = document.root.find("Harness")
    if harness is None:
        raise InputError("it holds no Harness", remedy="export the harness, not only its parts")
    return _Reader(document, harness).harness()


class _Reader:
    def __init__(self, document: Document, harness: Element) -> None:
        self.document, self.element = document, harness
        self.owners: dict[str, Element] = {}
        self.contacts: dict[str, tuple[Element, Element]] = {}
        for owner in (place for tag in PLACES for place in harness.iterfind(tag)):
            for inner in owner.iter():
                if "id" in inner.attrib:
                    self.owners[inner.attrib["id"]] = owner
                if inner.tag in ("Contact_points", "Contact_point") and "id" in inner.attrib:
                    self.contacts[inner.attrib["id"]] = (owner, inner)
        self.notes: list[str] = []
        self.cables = {
            core.attrib["id"]: frozenset({cable.attrib["id"]})
            for cable in harness.iterfind("General_wire_occurrence")
            for core in cable.iterfind("Core_occurrence")
            if "id" in core.attrib and "id" in cable.attrib
        }

    def harness(self) -> Harness:
        cores = tuple(
            core for connection in self.element.iterfind("Connection") for core in self._cores(connection)
        )
        used = {end.place for core in cores for end in (core.a, core.b)}
        known = dict.fromkeys(map(self.document.key, self.owners.values()))
        places = {key: self._place(self.document.by_id[key]) for key in known if key in used}
        if not cores:
            raise InputError("its harness holds no Connection", remedy="export it with its wires")
        configurations = {}
        for position, configuration in enumerate(self.element.iterfind("Harness_configuration"), 1):
            built = {
                name
                for module in self.document.refs(configuration, "Modules")
                for controlled in module.iterfind("Module_configuration/Controlled_components")
                for name in (controlled.text or "").split()
            }
            name = text(configuration, "Part_number") or text(configuration, "Description")
            if built:
                configurations[name or f"configuration {position}"] = frozenset(built)
        title = text(self.element, "Description") or text(self.element, "Part_number")
        return Harness(
            title,
            MappingProxyType(places),
            cores,
            tuple(seats(self.document, self.element, self.notes)),
            MappingProxyType(configurations),
            tuple(self.notes),
        )

    # wires

    def _cores(self, connection: Element) -> Iterator[Core]:
        """The wires of a connection: one, or more where it is contacted along its way."""
        document = self.document
        wire = document.ref(connection, "Wire")
        part = document.ref(wire, "Part")
        contacts = (document.ref(end, "Contact_point") for end in ordered_ends(connection, KBL))
        points = [end for contact in contacts if (end := self._end(contact)) is not None]
        ids = {element.attrib.get("id", "") for element in (connection, wire) if element is not None}
        cable = self.cables.get("" if wire is None else wire.attrib.get("id", ""), frozenset())
        signal, number = text(connection, "Signal_name"), text(wire, "Wire_number")
        colours = [] if part is None else [*part.iterfind("Core_colour"), *part.iterfind("Cover_colour")]
        core = partial(
            Core,
            mm2=document.mm2(None if part is None else part.find("Cross_section_area")),
            colour=colour(text(each, "Colour_value") for each in colours),
            signal=signal,
            number=number,
            keys=frozenset(ids - {""}) | cable,
        )
        name = text(connection, "Id") or signal or number
        yield from cores(points, core, length(document, wire, KBL), f"connection {name!r}", self.notes)

    def _end(self, contact: Element | None) -> End | None:
        """Where a contact point is; a contact that spans several cavities counts as in the first."""
        known = self.contacts.get("" if contact is None else contact.attrib.get("id", ""))
        if known is None:
            return None
        owner, point = known
        cavity = self.document.ref(point, "Contacted_cavity")
        if cavity is not None:
            owner = self.owners.get(cavity.attrib["id"], owner)
        return End(self.document.key(owner), self._number(cavity))

    def _number(self, cavity: Element | None) -> str:
        return text(self.document.ref(cavity, "Part"), "Cavity_number") or text(cavity, "Cavity_number")

    # places

    def _place(self, occurrence: Element) -> Place:
        document = self.document
        part = document.ref(occurrence, "Part")
        associated = [
            reference
            for point in occurrence.iterfind("Contact_points")
            for reference in document.refs(point, "Associated_parts")
        ]
        rings = [part for part in associated if part.tag == "Special_terminal_occurrence"]
        words = [text(occurrence, "Description"), *(text(ring, "Description") for ring in rings)]
        words.append(text(occurrence, "Localized_description/Value"))
        mates = {
            self._number(cavity): End(document.key(owner), self._number(mated))
            for cavity in occurrence.iter("Cavities")
            if (mated := document.ref(cavity, "Mated_cavities")) is not None
            and (owner := self.owners.get(mated.attrib["id"])) is not None
        }
        key = document.key(occurrence)
        return Place(
            key,
            text(occurrence, "Id") or key,
            self._kind(occurrence, part, single=len(associated) == len(rings) > 0),
            next(filter(None, words), ""),
            MappingProxyType(mates),
        )

    def _kind(self, occurrence: Element, part: Element | None, *, single: bool) -> PlaceKind:
        if occurrence.tag != "Connector_occurrence":
            return "box" if occurrence.tag == "Component_box_occurrence" else "ring"
        usage = USAGE.get(text(occurrence, "Usage").lower())
        if usage is not None:
            return usage
        words = " ".join(text(part, tag) for tag in ("Housing_type", "Description", "Abbreviation"))
        if _SPLICE.search(words):
            return "splice"
        return "ring" if single else "plug"

    # configurations


def is_kbl(document: Document) -> bool:
    """By its outermost element, or by what stands in it."""
    return kind(document.root) == "KBL_container" or document.root.find("Harness/Connection") is not None
