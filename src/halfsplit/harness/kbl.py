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
from itertools import pairwise
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.errors import InputError
from halfsplit.harness.colours import colour
from halfsplit.harness.data import Core, End, Harness, Place, PlaceKind, Seat
from halfsplit.harness.document import Document, kind, number, text

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
_RATING: Final = re.compile(r"(?<![\d.,])(\d{1,3}(?:[.,]\d)?) ?A(?:mp\w*)?\b")
_LENGTHS: Final = ("production", "supplement", "dmu", "")
"""Types of length (in part of their name), the best first: what is cut, then what was modelled."""


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
        places = {key: self._place(self.document.by_id[key]) for key in self._keys() if key in used}
        if not cores:
            raise InputError("its harness holds no Connection", remedy="export it with its wires")
        title = text(self.element, "Description") or text(self.element, "Part_number")
        return Harness(
            title,
            MappingProxyType(places),
            cores,
            tuple(
                seat for box in self.element.iterfind("Component_box_occurrence") for seat in self._seats(box)
            ),
            MappingProxyType(dict(self._configurations())),
            tuple(self.notes),
        )

    def _keys(self) -> Iterator[str]:
        yield from dict.fromkeys(owner.attrib["id"] for owner in self.owners.values() if "id" in owner.attrib)

    # wires

    def _cores(self, connection: Element) -> Iterator[Core]:
        """The wires of a connection: one, or more where it is contacted along its way."""
        document = self.document
        wire = document.ref(connection, "Wire")
        part = document.ref(wire, "Part")
        ends = sorted(
            connection.iterfind("Extremities"), key=lambda end: number(end.find("Position_on_wire")) or 0.0
        )
        points = [
            point for end in ends if (point := self._end(document.ref(end, "Contact_point"))) is not None
        ]
        name = text(connection, "Id") or text(connection, "Signal_name") or text(wire, "Wire_number")
        if len(points) < 2:
            self.notes.append(f"connection {name!r} has no two contacted ends and is left out")
            return
        area = next((part.find(tag) for tag in ("Cross_section_area",) if part is not None), None)
        colours = [] if part is None else [text(colour, "Colour_value") for colour in self._colours(part)]
        keys = frozenset(
            element.attrib["id"]
            for element in (connection, wire)
            if element is not None and "id" in element.attrib
        )
        for a, b in pairwise(points):
            if a == b:
                self.notes.append(f"connection {name!r} joins a cavity to itself and is left out")
                continue
            yield Core(
                a,
                b,
                document.mm2(area),
                self._length(wire) if len(points) == 2 else None,
                colour(colours),
                text(connection, "Signal_name"),
                text(wire, "Wire_number"),
                keys | self._parents(wire),
            )

    def _parents(self, wire: Element | None) -> frozenset[str]:
        """The cable that a core belongs to: configurations name the cable."""
        return self.cables.get(wire.attrib.get("id", ""), frozenset()) if wire is not None else frozenset()

    def _colours(self, part: Element) -> list[Element]:
        return [*part.iterfind("Core_colour"), *part.iterfind("Cover_colour")]

    def _length(self, wire: Element | None) -> float | None:
        """The best known length in m."""
        lengths = [] if wire is None else list(wire.iterfind("Length_information"))
        known = [
            (rank, metres)
            for length in lengths
            if (metres := self.document.metres(length.find("Length_value"))) is not None
            for rank, word in enumerate(_LENGTHS)
            if word in text(length, "Length_type").lower()
        ]
        return round(min(known)[1], 4) if known else None

    def _end(self, contact: Element | None) -> End | None:
        """Where a contact point is; a contact that spans several cavities counts as in the first."""
        owner, point = self.contacts.get(
            "" if contact is None else contact.attrib.get("id", ""), (None, None)
        )
        if owner is None:
            return None
        cavity = self.document.ref(point, "Contacted_cavity")
        if cavity is not None:
            owner = self.owners.get(cavity.attrib["id"], owner)
        return End(owner.attrib["id"], self._number(cavity))

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
        words = text(occurrence, "Description") or next(
            filter(None, (text(ring, "Description") for ring in rings)), ""
        )
        mates = {
            self._number(cavity): mate
            for cavity in occurrence.iter("Cavities")
            if (mate := self._mate(document.ref(cavity, "Mated_cavities"))) is not None
        }
        return Place(
            occurrence.attrib["id"],
            text(occurrence, "Id") or occurrence.attrib["id"],
            self._kind(occurrence, part, single=len(associated) == len(rings) > 0),
            words or self._localised(occurrence),
            MappingProxyType(mates),
        )

    def _localised(self, occurrence: Element) -> str:
        return next(
            (text(description, "Value") for description in occurrence.iterfind("Localized_description")), ""
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

    def _mate(self, cavity: Element | None) -> End | None:
        owner = self.owners.get("" if cavity is None else cavity.attrib.get("id", ""))
        return None if owner is None else End(owner.attrib["id"], self._number(cavity))

    # carriers

    def _seats(self, box: Element) -> Iterator[Seat]:
        document = self.document
        part = document.ref(box, "Part")
        inside = {
            contact.attrib["id"]: [
                text(cavity, "Cavity_number") for cavity in document.refs(joint, "Cavities")
            ]
            for joint in ([] if part is None else part.iterfind("Connections"))
            for contact in document.refs(joint, "Component_cavities")
        }
        for slot in box.iterfind("Component_slots"):
            template = document.ref(slot, "Part")
            contacts = [] if template is None else list(template.iterfind("Component_cavities"))
            cavities = tuple(
                next(iter(inside.get(contact.attrib.get("id", ""), ())), text(contact, "Cavity_number"))
                for contact in contacts
            )
            ids = {inner.attrib["id"] for inner in slot.iter() if "id" in inner.attrib}
            yield self._seat(box, slot, template, cavities, ids)

    def _seat(
        self, box: Element, slot: Element, template: Element | None, cavities: tuple[str, ...], ids: set[str]
    ) -> Seat:
        put = [
            component
            for component in self.element.iterfind("Component_occurrence")
            if any(target.attrib["id"] in ids for target in self.document.refs(component, "Mounting"))
        ]
        first = put[0] if put else None
        part = self.document.ref(first, "Part")
        words = " ".join((text(part, "Description"), text(first, "Id")))
        types = " ".join(
            text(fuse_type, "Key")
            for fuse_type in ([] if template is None else template.iterfind("Valid_fuse_types"))
        )
        relay = re.search(r"relais|relay", f"{words} {types}", re.IGNORECASE) is not None
        amps = None if part is None else number(part.find("Nominal_current"))
        rating = _RATING.search(words)
        if len(put) > 1:
            self.notes.append(
                f"{text(box, 'Id')} {text(template, 'Id')} has {len(put)} parts to choose from: "
                f"{text(first, 'Id')} is taken"
            )
        return Seat(
            box.attrib["id"],
            text(slot, "Id") or text(template, "Id"),
            cavities,
            "relay" if relay else "fuse" if len(cavities) == 2 else "",
            amps or (float(rating[1].replace(",", ".")) if rating else None),
            text(first, "Description"),
            first is not None,
        )

    # configurations

    def _configurations(self) -> Iterator[tuple[str, frozenset[str]]]:
        for position, configuration in enumerate(self.element.iterfind("Harness_configuration"), 1):
            built = {
                name
                for module in self.document.refs(configuration, "Modules")
                for configuration in module.iterfind("Module_configuration")
                for names in configuration.iterfind("Controlled_components")
                for name in (names.text or "").split()
            }
            if built:
                yield (
                    text(configuration, "Part_number")
                    or text(configuration, "Description")
                    or f"configuration {position}",
                    frozenset(built),
                )


def is_kbl(document: Document) -> bool:
    """By its outermost element, or by what stands in it."""
    return kind(document.root) == "KBL_container" or document.root.find("Harness/Connection") is not None
