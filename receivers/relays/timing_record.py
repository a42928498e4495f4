"""Timing record: the answer of ``timing`` for one code as plain data, ready for JSON, pages and pictures.

Times are in milliseconds. A margin that no wait would mend (a relay that never picks up) is None.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from ...contracts.keying import KeyedLineCode
from .corner import Corner
from .fault import PATHS
from .hazard import Hazard
from .margin import Margin
from .relay_set import RelaySet
from .table import Table
from .timing import LONGEST_S, shortest_step, timing

KINDS = {
    "slow": "comes in late and lets go late",
    "fast": "comes in early and lets go early",
    "short": "comes in late and lets go early",
    "long": "comes in early and lets go late",
    "lasting": "comes in early, lets go late and hardly bounces",
}


def timing_record(code: KeyedLineCode, relays: RelaySet, table: Table) -> dict[str, Any]:
    """The margins of ``code`` as it is, and the shortest step at which a machine of ``relays`` and ``table`` closes.

    Raises:
        UsageError: a code that the machine cannot follow at any step.
    """
    own = timing(code, relays, table)
    shortest = shortest_step(code, relays, table)
    return {
        "set": {"name": relays.name, "title": relays.title, "content": relays.content},
        "table": table_record(table),
        "step_ms": _ms(own.step_s),
        "closes": own.closes,
        "shortest_step_ms": None if shortest is None else _ms(shortest.step_s),
        "tried_up_to_ms": _ms(LONGEST_S),
        # Where no step closes, what fails at the code's own step is what to look at.
        "limiting": margin_record((shortest or own).limiting, relays),
        "margins": [margin_record(margin, relays) for margin in own.margins],
        "recovery": None if own.recovery is None else margin_record(own.recovery, relays),
        "hazards": [hazard_record(hazard) for hazard in own.hazards],
    }


def table_record(table: Table) -> dict[str, Any]:
    """The wiring of ``table``."""
    return {
        "name": table.name,
        "title": table.title,
        "content": table.content,
        "steps": table.steps,
        "bit_steps": list(table.bit_steps),
        "bits_a_step": table.bits_a_step,
        "address_bits": table.address_bits,
        "first_address": table.first_address,
        "isolation": table.isolation,
        "lines": [
            {
                "name": line.name,
                "action": line.action,
                "bus": line.bus,
                "when": line.when,
                "steps": list(line.steps),
                "sneaked_steps": sorted(set(table.live_steps(line)) - set(line.steps)),
                "uses": list(line.uses),
                "through": list(line.through),
            }
            for line in table.lines
        ],
    }


def margin_record(margin: Margin, relays: RelaySet) -> dict[str, Any]:
    """One path."""
    return {
        "path": margin.path,
        "where": margin.where,
        "what": PATHS[margin.path],
        "need_ms": _ms(margin.need_s),
        "have_ms": _ms(margin.have_s),
        "margin_ms": _ms(margin.margin_s),
        "closes": margin.margin_s >= 0,
        "corner": corner_in_words(margin.corner, repeated=relays.clock.form == "make"),
    }


def hazard_record(hazard: Hazard) -> dict[str, Any]:
    """One hazard."""
    return {"kind": hazard.kind, "step": hazard.step, "lines": list(hazard.lines), "text": hazard.text}


def corner_in_words(corner: Corner, repeated: bool) -> str:
    """Where a margin is at its least, for a person.

    Args:
        repeated: whether a relay repeats the clock's contact.

    >>> from .corner import Surroundings
    >>> corner_in_words(Corner(Surroundings(1, -1, 1), (("clock", "short"), ("count", "fast"))), False)
    'hot windings, low supply, fast tape; clock comes in late and lets go early; count comes in early and lets go early'
    """
    around = corner.surroundings
    words = [
        f"{'hot' if around.temperature > 0 else 'cold'} windings, {'high' if around.supply > 0 else 'low'} supply, "
        f"{'fast' if around.speed > 0 else 'slow'} tape"
    ]
    if corner.skew:
        words.append(f"data track {'late' if corner.skew > 0 else 'early'}")
    words += [f"{role} {KINDS[kind]}" for role, kind in _told(corner.kinds, repeated)]
    return "; ".join(words)


def _told(kinds: Iterable[tuple[str, str]], repeated: bool) -> list[tuple[str, str]]:
    """Each role once, as it is named last; the clock's repeater only where there is one."""
    return [(role, kind) for role, kind in dict(kinds).items() if repeated or role != "repeater"]


def _ms(seconds: float) -> float | None:
    return round(1e3 * seconds, 4) if math.isfinite(seconds) else None
