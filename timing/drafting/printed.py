"""The score's own marks written out as entries of a plan, to be changed or deleted there."""

from __future__ import annotations

from typing import Any

from timing.columns import NEAR
from timing.drafting.items import DraftItem, decibels, percent
from timing.drafting.slowing import with_last_onset
from timing.plan.entry import Entry
from timing.plan.position import Position, Range
from timing.plan.time import Slowing, TempoMark
from timing.plan.units import NOTE_VALUES
from timing.plan.words import LEVELS
from timing.reading import Reading
from timing.score import Score
from timing.where.beats import felt_beat
from timing.where.naming import end_of_range, position_at, position_over

SECTIONS = ("slowing", "holds", "dynamics", "accents", "tone")
_PERCENT, _DECIBELS = {"to", "length"}, {"by", "louder", "softer"}


def marks_of(reading: Reading) -> dict[str, list[DraftItem]]:
    """The marks of the score in a reading, by the section of the plan in which they stand; their lines of slides and
    their signs on notes stay in the score."""
    words = {(use.bar, round(use.beat, 3)): use.text for use in reading.marks if use.text not in LEVELS}
    return {
        section: [
            _item(entry, section, reading, words)
            for entry in getattr(reading.plan, section)
            if entry.printed and not isinstance(entry.passes, tuple)
        ]
        for section in SECTIONS
    }


def _item(entry: Entry, section: str, reading: Reading, words: dict[tuple, str]) -> DraftItem:
    """A mark as an entry. What no mark says in these words has those of the page beside it: a `dolce` is no tone."""
    keys, why = _keys(entry, section, reading.score), "printed"
    if isinstance(entry, Slowing) and (ends := with_last_onset(reading, entry)):
        keys = {key: value for key, value in keys.items() if key != "then"}
        keys |= {entry.kind: ends[0], "to": percent(ends[1])}
        why = f"printed at {entry.where.start}; it reaches its pace where it is heard, not with the end of the last bar"
    elif "softer" in keys or isinstance(entry.value("tone") if section == "tone" else None, float):
        there: Position | Range = entry.where
        at = there.start if isinstance(there, Range) else there
        text = words.get((at.bar, round(float(at.beat or 1), 3)), "")
        why = f"printed: {text}" if text else why
    return DraftItem(keys, why, printed=True)


def tempi_of(reading: Reading) -> list[DraftItem]:
    """The tempi of the score, or the one that is played where it has none: an entry each where there are several, since
    any tempo of a plan takes the place of all that are printed."""
    first = tempo_in_words(reading, float(reading.performance.time.basic(0.0)), 0)
    marks = reading.plan.tempo
    if not marks:
        return [DraftItem(first, "the score says no tempo, and this is none in particular", printed=True)]
    begins = int(reading.performance.bars["row"][0])
    later = [mark for mark in marks if _at(mark).row != begins or float(reading.where.moments(_at(mark))[0]) > NEAR]
    opening = [mark for mark in marks if all(mark is not each for each in later)]
    why = opening[0].said if opening else "what is played where the score says none"
    if not later:
        return [DraftItem(first, why, printed=True)]
    rest = [DraftItem(_tempo_at(mark, reading), mark.said, printed=True) for mark in later]
    return [DraftItem({"tempo": first}, why, printed=True), *rest]


def _at(mark: TempoMark) -> Position:
    assert mark.at is not None  # a printed tempo is never gradual
    return mark.at


def _row(position: Position) -> int:
    """The row of bars that a printed position has."""
    assert position.row is not None
    return position.row


def _tempo_at(mark: TempoMark, reading: Reading) -> dict[str, str]:
    """A later tempo; a change (110%) and a return (tempo primo) are words of the plan already."""
    tempo = mark.tempo if isinstance(mark.tempo, str) else tempo_in_words(reading, mark.tempo, _row(_at(mark)))
    return {"at": str(mark.at), "tempo": tempo}


def tempo_in_words(reading: Reading, tempo: float, row: int) -> str:
    """A tempo (quarters a minute) as a plan writes it, in the beats that are felt in a bar: dotted quarter = 54."""
    beat = float(felt_beat(reading.score.bars[row]))
    for name, quarters in NOTE_VALUES.items():
        for dots, value in (("", quarters), ("dotted ", 1.5 * quarters)):
            if abs(value - beat) < NEAR:
                return f"{dots}{name} = {tempo / beat:.4g}"
    return f"{tempo:.4g}"


def _keys(entry: Entry, section: str, score: Score) -> dict[str, Any]:
    """The keys of an entry that say something, as a plan writes them."""
    made: dict[str, Any] = {}
    for name, field in type(entry).model_fields.items():
        value = getattr(entry, name)
        if name == "omit" or value is None or value == field.default:
            continue
        key = field.alias or name
        made[key] = _value(key, value, section, score)
    return made


def _value(key: str, value: Any, section: str, score: Score) -> Any:
    if isinstance(value, Range):
        return _hairpin(value, score) if section == "dynamics" else _range(value, score)
    if isinstance(value, Position):
        return f"after {_over(value, score)}" if key in ("breath", "caesura") else str(value)
    if value is True and key == "then":
        return "a tempo"
    if isinstance(value, float):
        if key == "tone":
            return f"{value:g} cm"
        if key in _PERCENT:
            return percent(value)
        return f"{1000 * value:.4g} ms" if section == "holds" and key == "by" else _number(key, value)
    return value


def _number(key: str, value: float) -> Any:
    return decibels(value) if key in _DECIBELS else float(f"{value:.4g}")


def _offset(position: Position, score: Score) -> float:
    """Quarters after the bar line of the row of bars that a printed position has."""
    bar = score.bars[_row(position)]
    return float(((position.beat or 1) - 1) * 4 / int(bar["unit"])) - float(bar["shift"])


def _over(end: Position, score: Score, since: Position | None = None) -> Position:
    """As musicians count: until a beat is over, not to the instant of the next one."""
    return position_over(score, _row(end), _offset(end, score), since) if end.instant else end


def _range(bars: Range, score: Score) -> str:
    return str(Range(bars.start, _over(bars.end, score, bars.start)))


def _hairpin(bars: Range, score: Score) -> str:
    """A hairpin arrives on its end, which is the next bar where it ends with its own."""
    end = bars.end
    if end.instant:
        row, offset = _row(end), _offset(end, score)
        if offset < score.bars["length"][row] - NEAR:
            end = position_at(score, row, offset)
        else:
            end = position_at(score, row + 1, 0.0) if row + 1 < len(score.bars) else end_of_range(score, row, offset)
    return str(Range(bars.start, end))
