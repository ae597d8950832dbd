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
from functools import partial
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.errors import InputError
from halfsplit.harness.data import Core, Harness, Seat
from halfsplit.harness.document import Document, kind, number, text
from halfsplit.harness.shared import VEC, colour, cores, length, ordered_ends
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
        cores = [core for wire in wires for core in self._cores(wire)]
        if not cores:
            raise InputError(
                "it holds no wires with contacts", remedy="export it with its contacting and composition"
            )
        for contact in self.document.root.iter("ContactPoint"):
            cores += self.places.bridged(contact, cores)
        self.places.couple(cores, self.contact_with)
        seats = tuple(self._fuses(cores))
        composed = next(self._of_kind("CompositionSpecification"), None)
        configurations = {
            text(specification, "Identification"): frozenset(ids)
            for specification in self._of_kind("PartStructureSpecification")
            if (
                ids := " ".join(
                    each.text or "" for each in specification.iterfind("InBillOfMaterial")
                ).split()
            )
        }
        return Harness(
            text(composed, "Identification"),
            MappingProxyType(self.places.found),
            tuple(cores),
            seats,
            MappingProxyType(configurations),
            tuple(self.notes),
        )

    def _of_kind(self, name: str) -> Iterator[Element]:
        return (specification for specification in self.specifications if kind(specification) == name)

    # wires

    def _cores(self, wire: Element) -> Iterator[Core]:
        document = self.document
        ends = ordered_ends(wire, VEC)
        if not ends or text(wire, "Unconnected") == "true":
            return
        contacts = (self.contact_of.get(end.attrib.get("id", "")) for end in ends)
        points = [self.places.end(contact) for contact in contacts if contact is not None]
        element = document.ref(wire, "ReferencedWireElement")
        made_as = document.ref(element, "WireElementSpecification")
        conductor = document.ref(made_as, "ConductorSpecification")
        number = text(wire, "Identification")
        insulation = document.ref(made_as, "InsulationSpecification")
        # Each colour once: in IEC 60757 where the file has several systems.
        colours: list[str] = []
        if insulation is not None:
            for tag in _COLOURS:
                systems = list(insulation.iterfind(tag))
                systems.sort(key=lambda system: "60757" not in text(system, "ReferenceSystem"))
                colours += [text(system, "Key") for system in systems[:1]]
        core = partial(
            Core,
            mm2=document.mm2(None if conductor is None else conductor.find("CrossSectionArea")),
            colour=colour(colours),
            signal=self._signal(wire),
            number=number,
            keys=frozenset(each.attrib["id"] for each in self.places.up(wire) if "id" in each.attrib),
        )
        yield from cores(points, core, length(document, wire, VEC), f"wire {number!r}", self.notes)

    def _signal(self, wire: Element) -> str:
        """The signal on it, else that of the connection that it realises, with its clamp where the name has none."""
        for tag in ("Signal", "Connection", "ConnectionGroup"):
            for referred in self.document.refs(wire, tag):
                for element in (self.document.ref(referred, "Signal"), referred):
                    name = text(element, "SignalName") or text(element, "Identification")
                    clamp = text(element, "ClampName")
                    if name or clamp:
                        return name if terminal(name) or not clamp else f"{clamp} {name}".strip()
        return ""

    # fuses

    def _fuses(self, cores: list[Core]) -> Iterator[Seat]:
        """Occurrences that are fuses by their part or their role, and that wires reach at two cavities."""
        fuses = {
            specification.attrib.get("id", ""): number(specification.find("IMax"))
            for specification in self._of_kind("FuseSpecification")
        }
        parts = {
            part: key
            for specification in self.specifications
            for part in text(specification, "DescribedPart").split()
            if (key := specification.attrib.get("id", "")) in fuses
        }
        for key, place in list(self.places.found.items()):
            owner = self.document.by_id.get(key)
            if owner is None:
                continue
            holders = [parts.get(text(owner, "Part"), "")]
            holders += text(owner, "PartOrUsageRelatedSpecification").split()
            holders += [text(role, "EEComponentSpecification") for role in owner.iterfind("Role")]
            fuse = next((holder for holder in holders if holder in fuses), None)
            cavities = dict.fromkeys(
                end.cavity for core in cores for end in (core.a, core.b) if end.place == key
            )
            if fuse is not None and len(cavities) == 2:
                self.places.found[key] = replace(place, kind="box")
                yield Seat(key, place.name, tuple(cavities), "fuse", fuses[fuse], filled=True)
