"""The words of the notation: what begins a line, where it may stand, how it is written, where a comment begins."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from halfsplit.circuit.kinds import KINDS, LOADS

USAGE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "title": "title Rear wash-wipe, demonstration van",
        "include": 'include "lighting.circuit"',
        "variant": "variant early",
        "reach": 'reach X31 8 min "tailgate trim off"',
        "suspect": 'suspect X31.4 x4 "water trail"',
        "terminator": "terminator 120 ohm at A2 on CAN1",
        "gauge": 'gauge P1 volts at X31.4 x2 within 0.1 V "cluster\'s own reading"',
        "part": 'KIND NAME VALUE… "words" at "place"',
        "switch": 'switch S3 off wipe "wiper stalk" at "steering column"',
        "path": "F21.2 --[2.5mm2 RD/WH 1.8m]-- X31.4 -- K7.30",
        "continuation": "-- X31.4 -- K7.30",
        "tagged": "kind pyro",
        "joins": "joins wipe 1 2",
        "parks": "parks COMMON PARKED RUNNING",
        "drifts": "drifts",
        "feed": "feed 1 or 2",
        "earth": "earth 31",
        "clamp": "clamp 12 13",
        "draws": "draws 0.2 A",
        "works": "works over 8 V",
        "reads": "reads 7 as brake pulled down 10 kohm low under 2 V high over 6 V",
        "drives": 'drives 12 high limit 10 A latches off until "rest" when 7 is high and not "rest"',
        "supplies": "supplies 40 5 V limit 0.1 A",
        "talks": "talks on CAN1 at 5 6",
        "sleeps": "sleeps 5 mA after 10 min",
        "wakes": "wakes when 7 is high",
        "state": 'state "hot idle" S1 on, G2 running, B3 300 ohm, lasts 20 min, takes 2 min, helper',
        "stage": 'stage fuel "pressure at the rail" 3.8 bar else 0 bar in "cranking"',
        "needs": "needs M2, spark",
        "fails": 'fails "filter blocked" x0.5',
        "stand_in": 'stand-in "feed the rail" 15 min caution "fuel under pressure"',
        "within": 'in "cranking"',
    }
)
"""Kind of line (the rule of the grammar) → how it is written."""

_PART_USAGE: Final[Mapping[str, str]] = MappingProxyType(
    {
        "battery": "battery G1 12.6 V 6 mohm",
        "generator": "generator G2 14.2 V 20 mohm",
        "fuse": "fuse F21 15 A",
        "breaker": "breaker Q1 20 A",
        "relay": "relay K7 85 ohm 20 A pulls 7 V drops 2 V",
        "lamp": "lamp H1 21 W",
        "motor": "motor M9 4.2 A",
        "heater": "heater E5 120 W",
        "resistor": "resistor R1 2.2 ohm",
        "solenoid": "solenoid Y1 1 A",
        "diode": "diode V1 0.7 V",
        "sensor": "sensor B1 2 kohm",
        "module": "module A2",
        "connector": "connector X31",
        "splice": "splice SP5",
        "ground": "ground E4 on engine",
        "mass": "mass engine 1 mohm",
    }
)


def usage(rule: str, word: str) -> str:
    """How a line is written, with an example of its own for each kind of part."""
    if rule == "part":
        return f'{_PART_USAGE.get(word, "relay K7")} "words" at "place"'
    return USAGE[rule]


TOP: Final[Mapping[str, str]] = MappingProxyType(
    {
        **dict.fromkeys(KINDS, "part"),
        "switch": "switch",
        "title": "title",
        "include": "include",
        "variant": "variant",
        "reach": "reach",
        "suspect": "suspect",
        "terminator": "terminator",
        "gauge": "gauge",
        "state": "state",
        "stage": "stage",
    }
)
"""First word of a statement → the rule of the grammar."""

_TAGS: Final = MappingProxyType({"kind": "tagged"})
_LOAD: Final = MappingProxyType({**_TAGS, "drifts": "drifts"})
_MODULE: Final = MappingProxyType(
    {
        **_TAGS,
        **{
            word: word
            for word in (
                "feed",
                "earth",
                "draws",
                "works",
                "reads",
                "drives",
                "supplies",
                "talks",
                "clamp",
                "sleeps",
                "wakes",
            )
        },
    }
)

UNDER: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {
        **dict.fromkeys(KINDS, _TAGS),
        "module": _MODULE,
        "switch": MappingProxyType({**_TAGS, "joins": "joins"}),
        **dict.fromkeys(LOADS, _LOAD),
        "motor": MappingProxyType({**_LOAD, "parks": "parks"}),
        "stage": MappingProxyType(
            {"needs": "needs", "fails": "fails", "stand-in": "stand_in", "in": "within"}
        ),
        **dict.fromkeys(
            ("title", "include", "reach", "suspect", "terminator", "gauge", "state"), MappingProxyType({})
        ),
    }
)
"""First word of a statement → the lines that may stand under it. Paths and variants are seen by their links."""

KEYWORDS: Final = frozenset(
    {
        *TOP,
        *(word for lines in UNDER.values() for word in lines),
        "at",
        "on",
        "as",
        "is",
        "and",
        "or",
        "not",
        "always",
        "when",
        "hears",
        "high",
        "low",
        "under",
        "over",
        "until",
        "limit",
        "latches",
        "bias",
        "pwm",
        "pulled",
        "pulls",
        "drops",
        "up",
        "down",
        "after",
        "else",
        "caution",
        "within",
        "lasts",
        "takes",
        "helper",
        "running",
        "body",
    }
)
"""No part, stage, bus or variant can have one of these as its name."""


def without_comment(line: str) -> str:
    """The line up to a ``#`` that is not inside quotation marks."""
    start = 0
    while (hash_at := line.find("#", start)) >= 0:
        if line.count('"', 0, hash_at) % 2 == 0:
            return line[:hash_at].rstrip()
        start = hash_at + 1
    return line.rstrip()
