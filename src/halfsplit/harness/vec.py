"""VEC 1.2 and 2.x (prostep/VDA, "Vehicle Electric Container") → `Harness`: which of its elements become what.

=======================================  ====================================================================
element                                  becomes
=======================================  ====================================================================
Role of an occurrence, by its type       a place of the kind in `ROLES`
ContactPoint                             where wires end: cavity, else terminal, else a joint of its own
WireElementReference with two WireEnds   a wire for each two neighbouring ends
CavityCoupling                           two cavities that are plugged together
FuseSpecification of a part              the fuse that its occurrence is
PartStructureSpecification               a configuration: what is in its bill of material
=======================================  ====================================================================
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import pairwise
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.errors import InputError
from halfsplit.harness.colours import colour
from halfsplit.harness.data import Core, End, Harness, Place, PlaceKind, Seat
from halfsplit.harness.document import Document, kind, number, text

ROLES: Final[Mapping[str, PlaceKind]] = MappingProxyType(
    {
        "ConnectorHousingRole": "plug",
        "ModularConnectorRole": "plug",
        "EEComponentRole": "plug",
        "SpliceTerminalRole": "splice",
        "RingTerminalRole": "ring",
        "BoltTerminalRole": "ring",
        "BoltMountedFixingRole": "ring",
        "OpenWireEndTerminalRole": "loose",
    }
)
"""Class of a role → the kind of place that its occurrence is."""

_COLOURS: Final = ("BaseColor", "FirstIdentificationColor", "SecondIdentificationColor")
_LENGTHS: Final = ("production", "dmu", "drawing", "")
_SIGNALS: Final = ("Signal", "Connection", "RealizedConnection", "Net", "WireElementRealization")
_RATINGS: Final = ("NominalCurrent", "RatedCurrent", "IMax", "Rating", "Current")
_TWO: Final = 2


def is_vec(document: Document) -> bool:
    """By its outermost element, or by what stands in it."""
    return kind(document.root) == "VecContent" or next(document.root.iter("ContactPoint"), None) is not None


def read(document: Document) -> Harness:
    """The harness of a VEC document. Raises InputError where it holds no contacted wires."""
    return _Reader(document).harness()


class _Reader:
    def __init__(self, document: Document) -> None:
        self.document, root = document, document.root
        self.parents = {child: parent for parent in root.iter() for child in parent}
        self.contact_of = {
            end.attrib["id"]: contact
            for contact in root.iter("ContactPoint")
            for mounting in contact.iterfind("WireMounting")
            for end in document.refs(mounting, "ReferencedWireEnd")
        }
        self.places: dict[str, Place] = {}
        self.notes: list[str] = []

    def harness(self) -> Harness:
        cores = tuple(
            core
            for reference in self.document.root.iter("WireElementReference")
            for core in self._cores(reference)
        )
        if not cores:
            raise InputError(
                "it holds no wires with contacts", remedy="export it with its contacting and composition"
            )
        self._couplings(cores)
        seats = tuple(self._fuses(cores))
        title = next(
            (
                text(specification, "Identification")
                for specification in self.document.root.iter("Specification")
                if kind(specification) == "CompositionSpecification"
            ),
            "",
        )
        return Harness(
            title,
            MappingProxyType(self.places),
            cores,
            seats,
            MappingProxyType(dict(self._configurations())),
            tuple(self.notes),
        )

    # wires

    def _cores(self, wire: Element) -> Iterator[Core]:
        ends = sorted(wire.iterfind("WireEnd"), key=lambda end: number(end.find("PositionOnWire")) or 0.0)
        points = [
            self._end(contact)
            for end in ends
            if (contact := self.contact_of.get(end.attrib.get("id", ""))) is not None
        ]
        if len(points) < _TWO:
            if ends:
                self.notes.append(
                    f"wire {text(wire, 'Identification')!r} has no two contacted ends and is left out"
                )
            return
        element = self.document.ref(wire, "ReferencedWireElement")
        made_as = self.document.ref(element, "WireElementSpecification")
        conductor = self.document.ref(made_as, "ConductorSpecification")
        insulation = self.document.ref(made_as, "InsulationSpecification")
        area = None if conductor is None else conductor.find("CrossSectionArea")
        keys = frozenset(element.attrib["id"] for element in self._up(wire) if "id" in element.attrib)
        for a, b in pairwise(points):
            if a != b:
                yield Core(
                    a,
                    b,
                    self.document.mm2(area),
                    self._length(wire) if len(points) == _TWO else None,
                    colour(self._colours(insulation)),
                    self._signal(wire),
                    text(wire, "Identification"),
                    keys,
                )

    def _up(self, element: Element | None) -> Iterator[Element]:
        """The element and those that hold it, up to its occurrence."""
        while element is not None and element.tag != "Specification":
            yield element
            element = self.parents.get(element)

    def _colours(self, insulation: Element | None) -> Iterator[str]:
        """Each colour once: in IEC 60757 where the file has several systems."""
        for tag in _COLOURS:
            colours = [] if insulation is None else list(insulation.iterfind(tag))
            colours.sort(key=lambda colour: "60757" not in text(colour, "ReferenceSystem"))
            yield from (text(colour, "Key") for colour in colours[:1])

    def _length(self, wire: Element) -> float | None:
        known = [
            (rank, metres)
            for length in wire.iterfind("WireLength")
            if (metres := self.document.metres(length.find("LengthValue"))) is not None
            for rank, word in enumerate(_LENGTHS)
            if word in text(length, "LengthType").lower()
        ]
        return round(min(known)[1], 4) if known else None

    def _signal(self, wire: Element) -> str:
        """The name of the signal on it, or of the connection that it realises."""
        for tag in _SIGNALS:
            for referred in self.document.refs(wire, tag):
                signal = self.document.ref(referred, "Signal")
                for element in (signal, referred):
                    name = text(element, "SignalName") or text(element, "Identification")
                    if name:
                        return name
        return ""

    # places

    def _end(self, contact: Element) -> End:
        """Where a contact point is; the place is made when it is first met."""
        cavity = next(
            (
                cavity
                for mounting in contact.iterfind("CavityMounting")
                for cavity in self._cavities(mounting)
            ),
            None,
        )
        terminal = self.document.ref(contact, "MountedTerminal")
        if cavity is not None:
            return self._of(cavity, self._number(cavity))
        if terminal is not None and kind(terminal) in ROLES:
            return self._of(terminal, "")
        key = contact.attrib["id"]
        several = sum(
            len(list(self.document.refs(mounting, "ReferencedWireEnd")))
            for mounting in contact.iterfind("WireMounting")
        )
        self.places.setdefault(
            key, Place(key, text(contact, "Identification") or key, "splice" if several > 1 else "loose")
        )
        return End(key)

    def _cavities(self, mounting: Element) -> Iterator[Element]:
        for tag in ("EquippedCavityRef", "ReplacedPlug", "EquippedCavity", "CavityReference"):
            yield from self.document.refs(mounting, tag)

    def _number(self, cavity: Element) -> str:
        """The cavity's number, with its slot's where the connector has several slots."""
        number_ = text(self.document.ref(cavity, "ReferencedCavity"), "CavityNumber") or text(
            cavity, "Identification"
        )
        slot, role = self.parents.get(cavity), None
        if slot is not None:
            role = self.parents.get(slot)
        if role is not None and slot is not None and len(role.findall("SlotReference")) > 1:
            return f"{text(slot, 'Identification')}_{number_}"
        return number_

    def _of(self, element: Element, cavity: str) -> End:
        chain = list(self._up(element))
        role = next((element for element in chain if kind(element) in ROLES), chain[-1])
        owner = next(
            (element for element in chain if element.tag in ("Component", "PartUsage", "PartOccurrence")),
            role,
        )
        key = owner.attrib.get("id", "")
        if key not in self.places:
            name = text(owner, "Identification") or text(role, "Identification") or key
            self.places[key] = Place(key, name, ROLES.get(kind(role), "plug"), self._words(owner))
        return End(key, cavity)

    def _words(self, owner: Element) -> str:
        part = self.document.ref(owner, "Part")
        usage = next(self.document.refs(owner, "ReferencedUsageNode"), None)
        for element in (owner, usage, part):
            for tag in ("Description", "AliasId", "Abbreviation"):
                said = text(None if element is None else element.find(tag), "Value") or text(element, tag)
                if said:
                    return said
        return ""

    def _couplings(self, cores: tuple[Core, ...]) -> None:
        wired = {end for core in cores for end in (core.a, core.b)}
        for coupling in self.document.root.iter("CavityCoupling"):
            cavities = [
                element
                for child in coupling
                for element in self._named(child)
                if element.tag == "CavityReference"
            ]
            if len(cavities) == _TWO:
                a, b = (self._of(cavity, self._number(cavity)) for cavity in cavities)
                if a in wired and b in wired:
                    place = self.places[a.place]
                    mates = MappingProxyType({**place.mates, a.cavity: b})
                    self.places[a.place] = Place(place.key, place.name, place.kind, place.words, mates)

    def _named(self, child: Element) -> Iterator[Element]:
        return (
            self.document.by_id[name] for name in (child.text or "").split() if name in self.document.by_id
        )

    # fuses and configurations

    def _fuses(self, cores: tuple[Core, ...]) -> Iterator[Seat]:
        """Occurrences of parts that are fuses, and that wires reach at two cavities."""
        fuses = {
            part.attrib.get("id", ""): next(
                (amps for tag in _RATINGS if (amps := number(specification.find(tag))) is not None), None
            )
            for specification in self.document.root.iter("Specification")
            if "FuseSpecification" in kind(specification)
            for part in self.document.refs(specification, "DescribedPart")
        }
        for key, place in list(self.places.items()):
            part = self.document.ref(self.document.by_id.get(key), "Part")
            if part is None or part.attrib.get("id", "") not in fuses:
                continue
            cavities = dict.fromkeys(
                end.cavity for core in cores for end in (core.a, core.b) if end.place == key
            )
            if len(cavities) == _TWO:
                self.places[key] = Place(key, place.name, "box", place.words, place.mates)
                yield Seat(key, place.name, tuple(cavities), "fuse", fuses[part.attrib["id"]], filled=True)

    def _configurations(self) -> Iterator[tuple[str, frozenset[str]]]:
        for specification in self.document.root.iter("Specification"):
            if kind(specification) == "PartStructureSpecification":
                ids = frozenset(
                    name
                    for listed in specification.iterfind("InBillOfMaterial")
                    for name in (listed.text or "").split()
                )
                if ids:
                    yield text(specification, "Identification"), ids
