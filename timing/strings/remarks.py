"""What there is to say about strings and frets: few words, each kind of trouble told for a handful of places."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from timing.columns import NEAR
from timing.instruments.tuning import FRETS, pitch_name
from timing.performance import HARMONIC
from timing.plan.edits import added, replaced, shown
from timing.plan.strings import StringChoice
from timing.remarks import Edit, Place, Severity
from timing.strings.hands import PartSounds
from timing.strings.playable import POSSIBLE, listed, reach, why_not_together
from timing.where.hearings import Hearings

_MOST = 5  # places told of one kind of trouble, and entries added at most to mend it


@dataclass
class Teller:
    """Gathers what is wrong while strings are chosen for the notes `played` (PLAYED); `tell` says it."""

    played: np.ndarray
    tunings: np.ndarray
    hearings: Hearings
    _found: dict[str, list[tuple[int, str, Place | None, tuple[Edit, ...]]]] = field(default_factory=dict)

    def tell(self) -> None:
        """Remark on what was found, in the order of the music, each message once; of the rest say how much."""
        for code, found in self._found.items():
            first = {(text, fix): (row, place) for row, text, place, fix in reversed(found)}
            ordered = sorted(first.items(), key=lambda item: item[1][0])
            for (text, fix), (row, place) in ordered[:_MOST]:
                note = self.played[row]
                name = self.hearings.where.score.bar_name(self.hearings.where.bars["row"][note["ordinal"]])
                spot = {"bar_name": name, "beat": round(float(note["beat"]), 6), "pass_": int(note["pass"])}
                more = {"suggestion": shown(fix) or None, "fix": fix}
                self.hearings.remark(Severity.CAUTION, code, text, place, **spot, **more)
            if (untold := len(ordered) - _MOST) > 0:
                text = f"and {untold} more place{'s' * (untold > 1)} like these ({code})"
                self.hearings.remark(Severity.CAUTION, code, text, None)

    def no_harmonic(self, pitch: int, rows: np.ndarray) -> None:
        text = f"no string has {pitch_name(pitch)} as a natural harmonic{_times(rows)}: it is played ordinarily"
        self._add("no-harmonic", rows[0], text)

    def off_the_instrument(self, pitch: int, rows: np.ndarray) -> None:
        tuning = self.tunings[self.played["part"][rows[0]]]
        low = int(tuning[tuning > 0].min())
        how = f"below the lowest string ({pitch_name(low)})" if pitch < low else "above the highest fret"
        text = f"{pitch_name(pitch)} is {how}{_times(rows)}: it sounds all the same, on no string"
        self._add("off-the-instrument", rows[0], text)

    def cannot_reach(
        self, pitch: int, string: int, found: dict[int, int], entry: StringChoice | None, rows: np.ndarray
    ) -> None:
        others = ", ".join(f"{s} (fret {f})" for s, f in found.items())
        text = f"string {string} cannot give {pitch_name(pitch)}{_times(rows)}; strings that can: {others}"
        self._asked("string-cannot-reach", text, entry, rows, min(found, key=lambda s: abs(s - string)))

    def other_fret(
        self, pitch: int, string: int, fret: int, found: dict[int, int], entry: StringChoice | None, rows: np.ndarray
    ) -> None:
        if string:
            text = f"{pitch_name(pitch)} is at fret {found[string]} of string {string}, not at fret {fret}"
            self._asked("fret-contradicts", f"{text}{_times(rows)}: the string holds", entry, rows, string)
        else:
            others = ", ".join(f"{f} on string {s}" for s, f in found.items())
            text = f"no string has {pitch_name(pitch)} at fret {fret}{_times(rows)}; it is at fret {others}"
            self._asked("fret-contradicts", text, entry, rows, min(found, key=lambda s: abs(found[s] - fret)))

    def hard_chords(
        self, rows: np.ndarray, sounds: PartSounds, number: np.ndarray, tables: list[np.ndarray], strings: int
    ) -> None:
        """Look for notes that begin together and found no string, or lie further apart than a hand reaches."""
        first = np.full(len(sounds.kind), -1)
        first[number[::-1]] = rows[::-1]
        string, fret = self.played["string"][first], self.played["fret"][first].astype(np.int64)
        harmonic = self.played["technique"][first] == HARMONIC
        moments = int(sounds.moment.max()) + 1
        missing = np.bincount(sounds.moment[string == 0], minlength=moments) > 0
        low, high = np.full(moments, 99), np.zeros(moments, np.int64)
        stopped = (fret > 0) & ~harmonic
        np.minimum.at(low, sounds.moment[stopped], fret[stopped])
        np.maximum.at(high, sounds.moment[stopped], fret[stopped])
        wide = (high > 0) & (reach(np.minimum(low, high), high) > POSSIBLE)
        for moment in np.flatnonzero(missing | wide):
            here = slice(*np.searchsorted(sounds.moment, (moment, moment + 1)))
            if missing[moment]:
                pitches = sounds.pitch[here].tolist()
                options = [set(tables[kind]["string"].tolist()) for kind in sounds.kind[here]]
                lost = listed([pitch_name(p) for p in sounds.pitch[here][string[here] == 0].tolist()])
                why = why_not_together(pitches, options, strings)
                laid = [_laid(*place) for place in zip(pitches, string[here], fret[here], strict=True) if place[1]]
                rest = f"; {listed(laid)}" if laid else ""
                text = f"this chord cannot be played on the strings: {why}. On no string: {lost}{rest}"
            else:
                ends = [
                    _laid(sounds.pitch[here][n], string[here][n], fret[here][n])
                    for n in (np.argmax(stopped[here] & (fret[here] == end)) for end in (low[moment], high[moment]))
                ]
                text = f"this chord ({listed(list(map(pitch_name, sounds.pitch[here].tolist())))}) is a stretch from "
                text += f"fret {low[moment]} to fret {high[moment]}: no hand reaches from {' to '.join(ends)}"
            self._add("unplayable-chord", first[here][0], text)

    def _asked(self, code: str, text: str, entry: StringChoice | None, rows: np.ndarray, string: int) -> None:
        """Trouble with what an entry or the score asks; the nearest thing that can be had."""
        place = None
        if entry is not None:
            place = entry.place("string" if entry.string else "fret")
        self._add(code, rows[0], text, place, self._instead(entry, rows, string))

    def _instead(self, entry: StringChoice | None, rows: np.ndarray, string: int) -> tuple[Edit, ...]:
        """The changes that put these notes on a string: the entry for their place anew, or one for each place."""
        if entry is not None and entry.at is not None:
            return (replaced(entry, {"string": string, "fret": None}),)
        entries = {tuple(keys.items()): keys for keys in (self._keys(int(row), string, entry) for row in rows)}
        few = len(entries) <= _MOST and all(entries.values())
        return tuple(added("strings", keys) for keys in entries.values()) if few else ()

    def _keys(self, row: int, string: int, entry: StringChoice | None) -> dict[str, Any]:
        """The entry that puts one note on a string; none where it would mean a higher note."""
        note, moment = self.played[row], self.played["score_onset"]
        beside = self.played[slice(*np.searchsorted(moment, note["score_onset"] + np.array([-NEAR, NEAR])))]
        higher = beside[beside["pitch"] > note["pitch"]]
        stops = higher["pitch"] - self.tunings[higher["part"], string - 1]
        own = (higher["voice"] == note["voice"]) & (higher["part"] == note["part"])
        if np.any(own & (stops >= 0) & (stops <= FRETS)):
            return {}
        keys: dict[str, Any] = {"at": self.hearings.where.position_text(float(note["score_onset"]))}
        if len(higher):
            part = [f"part {note['part'] + 1}"] if len(self.hearings.where.score.parts) > 1 else []
            keys["for"] = ", ".join([*part, f"voice {note['voice']}"])
        for key, value in (("pass", entry.passes), ("name", entry.name)) if entry is not None else ():
            keys |= {key: value} if value is not None else {}
        return keys | {"string": string}

    def _add(self, code: str, row: int, text: str, place: Place | None = None, fix: tuple[Edit, ...] = ()) -> None:
        self._found.setdefault(code, []).append((int(row), text, place, fix))


def _laid(pitch: int, string: int, fret: int) -> str:
    """A note and where it lies: F2 on string 6 (fret 1)."""
    return f"{pitch_name(int(pitch))} on string {string} ({f'fret {fret}' if fret else 'open'})"


def _times(rows: np.ndarray) -> str:
    return f" ({len(rows)} notes)" if len(rows) > 1 else ""
