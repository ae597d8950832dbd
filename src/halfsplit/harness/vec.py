"""VEC 1.2 and 2.x (prostep/VDA, "Vehicle Electric Container") → `Harness`: which of its elements become what.

=======================================  ====================================================================
element                                  becomes
=======================================  ====================================================================
Role of an occurrence, by its type       a place of the kind in `vec_places.ROLES`
ContactPoint                             where wires end: cavity, else terminal, else a joint of its own
WireElementReference with two WireEnds   a wire for each two neighbouring ends
CavityCoupling, MatingPoint              two cavities, or two terminals, that are plugged together
FuseSpecification of a part or a role    the fuse that its occurrence is
PartStructureSpecification               a configuration: what is in its bill of material
=======================================  ====================================================================

The names are those of the published model (VDA 4968, versions 1.1.3 to 2.2.0).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.errors import InputError
from halfsplit.harness.colours import colour
from halfsplit.harness.data import Core, Harness, Seat
from halfsplit.harness.document import Document, kind, number, text
from halfsplit.harness.shared import VEC, Made, cores, length, ordered_ends
from halfsplit.harness.terminals import terminal
from halfsplit.harness.vec_places import Places

_COLOURS: Final = ("BaseColor", "FirstIdentificationColor", "SecondIdentificationColor")


def is_vec(document: Document) -> bool:
    """By its outermost element, or by what stands in it."""
    return kind(document.root) == "VecContent" or next(document.root.iter("ContactPoint"), None) is not None


def read(document: Document) -> Harness:
    """The harness of a VEC document. Raises InputError where it holds no contacted wires."""
    return _Reader(document).harness()


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document, root = document, document.root
        self.places = Places(document)
        self.specifications = list(root.iter("Specification"))
        self.contact_of: dict[str, Element] = {}
        self.contact_with: dict[str, Element] = {}
        for contact in root.iter("ContactPoint"):
            for end in document.refs(contact, "WireMounting/ReferencedWireEnd"):
                self.contact_of[end.attrib["id"]] = contact
            for mounted in document.refs(contact, "MountedTerminal"):
                self.contact_with[mounted.attrib["id"]] = contact
        self.notes: list[str] = []

    def harness(self) -> Harness:
        wires = self.document.root.iter("WireElementReference")
        found = [core for one in wires for core in self._cores(one)]
        if not found:
            raise InputError(
                "it holds no wires with contacts", remedy="export it with its contacting and composition"
            )
        for contact in self.document.root.iter("ContactPoint"):
            found += self.places.bridged(contact, found)
        self.places.couple(found, self.contact_with)
        seats = tuple(self._fuses(found))
        composed = [one for one in self.specifications if kind(one) == "CompositionSpecification"]
        title = text(composed[0], "Identification") if composed else ""
        built = MappingProxyType(dict(self._configurations()))
        return Harness(
            title, MappingProxyType(self.places.found), tuple(found), seats, built, tuple(self.notes)
        )

    # wires

    def _cores(self, wire: Element) -> Iterator[Core]:
        document = self.document
        ends = ordered_ends(wire, VEC)
        if not ends or text(wire, "Unconnected") == "true":
            return
        contacts = (self.contact_of.get(one.attrib.get("id", "")) for one in ends)
        points = [self.places.end(contact) for contact in contacts if contact is not None]
        element = document.ref(wire, "ReferencedWireElement")
        made_as = document.ref(element, "WireElementSpecification")
        conductor = document.ref(made_as, "ConductorSpecification")
        made = Made(
            document.mm2(None if conductor is None else conductor.find("CrossSectionArea")),
            length(document, wire, VEC),
            colour(self._colours(document.ref(made_as, "InsulationSpecification"))),
            self._signal(wire),
            text(wire, "Identification"),
            frozenset(one.attrib["id"] for one in self.places.up(wire) if "id" in one.attrib),
        )
        yield from cores(points, made, f"wire {made.number!r}", self.notes)

    def _colours(self, insulation: Element | None) -> Iterator[str]:
        """Each colour once: in IEC 60757 where the file has several systems."""
        for tag in _COLOURS:
            told = [] if insulation is None else list(insulation.iterfind(tag))
            told.sort(key=lambda one: "60757" not in text(one, "ReferenceSystem"))
            yield from (text(one, "Key") for one in told[:1])

    def _signal(self, wire: Element) -> str:
        """The signal on it, else that of the connection that it realises, with its clamp where the name has none."""
        for tag in ("Signal", "Connection", "ConnectionGroup"):
            for told in self.document.refs(wire, tag):
                for one in (self.document.ref(told, "Signal"), told):
                    name = text(one, "SignalName") or text(one, "Identification")
                    clamp = text(one, "ClampName")
                    if name or clamp:
                        return name if terminal(name) or not clamp else f"{clamp} {name}".strip()
        return ""

    # fuses and configurations

    def _fuses(self, found: list[Core]) -> Iterator[Seat]:
        """Occurrences that are fuses by their part or their role, and that wires reach at two cavities."""
        fuses = {
            one.attrib.get("id", ""): number(one.find("IMax"))
            for one in self.specifications
            if kind(one) == "FuseSpecification"
        }
        parts = {
            part: key
            for one in self.specifications
            for part in text(one, "DescribedPart").split()
            if (key := one.attrib.get("id", "")) in fuses
        }
        for key, place in list(self.places.found.items()):
            owner = self.document.by_id.get(key)
            told = (
                []
                if owner is None
                else [
                    parts.get(text(owner, "Part"), ""),
                    *text(owner, "PartOrUsageRelatedSpecification").split(),
                ]
            )
            told += (
                []
                if owner is None
                else [text(role, "EEComponentSpecification") for role in owner.iterfind("Role")]
            )
            fuse = next((one for one in told if one in fuses), None)
            cavities = dict.fromkeys(
                end.cavity for core in found for end in (core.a, core.b) if end.place == key
            )
            if fuse is not None and len(cavities) == 2:
                self.places.found[key] = replace(place, kind="box")
                yield Seat(key, place.name, tuple(cavities), "fuse", fuses[fuse], filled=True)

    def _configurations(self) -> Iterator[tuple[str, frozenset[str]]]:
        for one in self.specifications:
            if kind(one) == "PartStructureSpecification":
                ids = frozenset(
                    name for told in one.iterfind("InBillOfMaterial") for name in (told.text or "").split()
                )
                if ids:
                    yield text(one, "Identification"), ids
