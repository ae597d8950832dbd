"""Carriers of fuses and relays in KBL: the slots of a Component_box_occurrence and what is mounted in them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Final
from xml.etree.ElementTree import Element

from halfsplit.harness.data import Seat
from halfsplit.harness.document import Document, number, text

_RATING: Final = re.compile(r"(?<![\d.,])(\d{1,3}(?:[.,]\d)?) ?A(?:mp\w*)?\b")


def seats(document: Document, harness: Element, notes: list[str]) -> Iterator[Seat]:
    """A seat for each slot of each carrier; `notes` gets the slots for which several parts are there."""
    mounted = list(harness.iterfind("Component_occurrence"))
    for box in harness.iterfind("Component_box_occurrence"):
        part = document.ref(box, "Part")
        inside = {
            contact.attrib["id"]: [text(each, "Cavity_number") for each in document.refs(joint, "Cavities")][
                :1
            ]
            for joint in ([] if part is None else part.iterfind("Connections"))
            for contact in document.refs(joint, "Component_cavities")
        }
        for slot in box.iterfind("Component_slots"):
            template = document.ref(slot, "Part")
            cavities = tuple(
                (inside.get(contact.attrib.get("id", "")) or [text(contact, "Cavity_number")])[0]
                for contact in ([] if template is None else template.iterfind("Component_cavities"))
            )
            ids = {inner.attrib["id"] for inner in slot.iter() if "id" in inner.attrib}
            put = [
                carrier
                for carrier in mounted
                if any(target.attrib["id"] in ids for target in document.refs(carrier, "Mounting"))
            ]
            yield _seat(document, box, slot, cavities, put, notes)


def _seat(
    document: Document,
    box: Element,
    slot: Element,
    cavities: tuple[str, ...],
    put: list[Element],
    notes: list[str],
) -> Seat:
    """A slot with the first of the parts that are put into it."""
    template = document.ref(slot, "Part")
    first = put[0] if put else None
    part = document.ref(first, "Part")
    words = " ".join((text(part, "Description"), text(first, "Id")))
    types = " ".join(
        text(fuse_type, "Key")
        for fuse_type in ([] if template is None else template.iterfind("Valid_fuse_types"))
    )
    relay = re.search(r"relais|relay", f"{words} {types}", re.IGNORECASE) is not None
    amps = None if part is None else number(part.find("Nominal_current"))
    rating = _RATING.search(words)
    if len(put) > 1:
        notes.append(
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
