"""What a listener may stumble over in a reading: all remarks on it.

`timing.cautions.rules` says what a rule is. The rules are in the modules named here, by what they judge: loading those
registers them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from timing.cautions import (  # noqa: F401
    form,
    hands,
    level,
    met,
    open_strings,
    pace,
    phrases,
    slides,
    slowing,
    swells,
)
from timing.cautions.accepting import with_acceptances
from timing.cautions.rules import ADVICE, CAUTION, Sound
from timing.cautions.rules import RULES as RULES
from timing.reading import Reading
from timing.remarks import Remark, Severity


def check(reading: Reading, sound: Sound | None = None) -> list[Remark]:
    """Everything there is to say about a reading: what performing it met, then the rules, gravest first; at the end
    what the plan accepts.

    `sound` is what is known of how the strings sound; without it they are judged by the planned levels alone.
    """
    told = (each.find(reading, sound) if each.listens else each.find(reading) for each in RULES if each.find)
    found = dict.fromkeys([*reading.remarks, *(remark for remarks in told for remark in remarks)])
    weight = {Severity.ERROR: 0, CAUTION: 1, ADVICE: 2}

    def gravest_first(r: Remark) -> tuple:
        line = r.place.line if r.place is not None else None
        return r.accepted is not None, weight[r.severity], line or 0, r.bar or 0, r.bar_name or "", r.beat or 0

    return sorted(_once(with_acceptances(found, reading)), key=gravest_first)


def _once(remarks: Iterable[Remark]) -> list[Remark]:
    """What is said of a place in the same words on several passes, once, with its passes."""
    alike: dict[Remark, list[Remark]] = {}
    for remark in remarks:
        alike.setdefault(replace(remark, pass_=None), []).append(remark)
    made = []
    for found in alike.values():
        passes = sorted({remark.pass_ for remark in found if remark.pass_ is not None})
        first = min(found, key=lambda remark: remark.pass_ or 0)
        made.append(replace(first, passes=tuple(passes)) if len(passes) > 1 else first)
    return made
