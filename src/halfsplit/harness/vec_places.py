"""Where the wires of a VEC file end: the places that its roles, terminals and contact points are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.harness.data import Core, End, Place, PlaceKind
from halfsplit.harness.document import Document, kind, text

_COMPONENTS: Final = "EEComponent Antenna Battery Capacitor Diode Fuse MultiFuse PotentialDistributor Relay"
TERMINALS: Final[Mapping[str, PlaceKind]] = MappingProxyType(
    {
        "Splice": "splice",
        "Ring": "ring",
        "Bolt": "ring",
        "Hole": "ring",
        "OpenWireEnd": "loose",
        "Pluggable": "loose",
    }
)
"""Kind of a terminal (`RingTerminalRole`, `…Specification`) → the kind of place where it sits in no cavity."""

_HOUSINGS: Final[dict[str, PlaceKind]] = {
    "ConnectorHousingRole": "plug",
    "ModularConnectorRole": "plug",
    "BoltMountedFixingRole": "ring",
}
_PLUGS: Final[dict[str, PlaceKind]] = {f"{name}Role": "plug" for name in _COMPONENTS.split()}
ROLES: Final[Mapping[str, PlaceKind]] = MappingProxyType(
    {**_HOUSINGS, **_PLUGS, **{f"{name}TerminalRole": place for name, place in TERMINALS.items()}}
)
"""Class of a role → the kind of place that its occurrence is."""

_OWNERS: Final = ("Component", "PartUsage", "PartOccurrence")
_WORDS: Final = (("Description", "Value"), ("Abbreviation", "Value"), ("AliasId", "IdentificationValue"))


class Places:
    """The places of a document, each made when it is first met."""

    def __init__(self, document: Document) -> None:
        self.document = document
        self.parents = {child: parent for parent in document.root.iter() for child in parent}
        self.found: dict[str, Place] = {}

    def end(self, contact: Element) -> End:
        """Where a contact point is; the place is made when it is first met."""
        cavity = next(self.document.refs(contact, "CavityMounting/EquippedCavityRef"), None)
        if cavity is not None:
            return self.of(cavity, self.number(cavity))
        mounted = self.document.ref(contact, "MountedTerminal")
        terminal = self.document.ref(mounted, "TerminalSpecification")
        several = len(list(self.document.refs(contact, "WireMounting/ReferencedWireEnd"))) > 1
        known = [
            place
            for element in (mounted, terminal)
            if element is not None
            for name, place in TERMINALS.items()
            if kind(element).startswith(f"{name}Terminal")
        ][:1]
        place = known[0] if known and known != ["loose"] else "splice" if several else "loose"
        if mounted is not None:
            return self.of(mounted, "", place)
        key = self.document.key(contact)
        self.found.setdefault(key, Place(key, text(contact, "Identification") or key, place))
        return End(key)

    def bridged(self, contact: Element, known: Sequence[Core]) -> Iterator[Core]:
        """What one contact in several cavities joins; several mountings of one are variants of each other."""
        mounting = contact.find("CavityMounting")
        cavities = list(self.document.refs(mounting, "EquippedCavityRef"))
        if len(cavities) > 1:
            ends = [self.of(cavity, self.number(cavity)) for cavity in cavities]
            signal = next((core.signal for core in known if ends[0] in (core.a, core.b)), "")
            yield from (Core(ends[0], other, signal=signal) for other in ends[1:] if other != ends[0])

    def number(self, cavity: Element) -> str:
        """The cavity's number, after its housing's and its slot's where there are several of them."""
        own = text(self.document.ref(cavity, "ReferencedCavity"), "CavityNumber")
        outer = [
            text(element, "Identification")
            or text(self.document.ref(element, "ReferencedSlot"), "SlotNumber")
            for element in reversed(list(self.up(cavity)))
            if element.tag in ("HousingComponentRef", "SlotReference")
            and len(self.parents[element].findall(element.tag)) > 1
        ]
        return "_".join([*filter(None, outer), own or text(cavity, "Identification")])

    def of(self, element: Element, cavity: str, place: PlaceKind | None = None) -> End:
        chain = list(self.up(element))
        role = next((element for element in chain if kind(element) in ROLES), chain[-1])
        owner = next((element for element in chain if element.tag in _OWNERS), role)
        key = self.document.key(owner)
        if key not in self.found:
            name = text(owner, "Identification") or text(role, "Identification") or key
            telling = (owner, *(self.document.ref(owner, tag) for tag in ("RealizedUsageNode", "Part")))
            words = (
                text(element.find(tag), inner) or text(element, tag)
                for element in telling
                if element is not None
                for tag, inner in _WORDS
            )
            known = place or ROLES.get(kind(role), "plug")
            self.found[key] = Place(key, name, known, next(filter(None, words), ""))
        return End(key, cavity)

    def couple(self, cores: Sequence[Core], contact_with: Mapping[str, Element]) -> None:
        wired = {end for core in cores for end in (core.a, core.b)}
        for coupling in self.document.root.iter("CavityCoupling"):
            cavities = [self.document.ref(coupling, tag) for tag in ("FirstCavity", "SecondCavity")]
            self._mated(
                [self.of(cavity, self.number(cavity)) for cavity in cavities if cavity is not None], wired
            )
        for mating in self.document.root.iter("MatingPoint"):
            mounted = [self.document.ref(mating, tag) for tag in ("FirstTerminalRole", "SecondTerminalRole")]
            contacts = [contact_with.get(element.attrib["id"]) for element in mounted if element is not None]
            self._mated([self.end(contact) for contact in contacts if contact is not None], wired)

    def _mated(self, ends: list[End], wired: set[End]) -> None:
        if len(ends) == 2 and wired.issuperset(ends) and ends[0].place != ends[1].place:
            place = self.found[ends[0].place]
            self.found[place.key] = replace(
                place, mates=MappingProxyType({**place.mates, ends[0].cavity: ends[1]})
            )

    def up(self, element: Element | None) -> Iterator[Element]:
        """The element and those that hold it, up to its occurrence."""
        while element is not None and element.tag != "Specification":
            yield element
            element = self.parents.get(element)
