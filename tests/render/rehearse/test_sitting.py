"""The plan of a sitting: its states, its file, and what happens where both change at a time."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from render.rehearse.sitting import MOST_STATES, Sitting
from timing.remarks import CannotDo

FIRST = "score: a.abc\ntempo: 60\n"


@pytest.fixture
def plan(tmp_path):
    file = tmp_path / "plan.yaml"
    file.write_text(FIRST)
    return file


def saved(file: Path, text: str) -> None:
    """As an editor saves: a new file in the place of the old one."""
    new = file.with_suffix(".new")
    new.write_bytes(text.encode())
    os.replace(new, file)


def test_what_is_done_on_the_page_is_in_the_file_at_once(plan):
    sitting = Sitting(plan)
    assert sitting.typed("tempo: 61\n", 0).number == 1 and plan.read_text() == "tempo: 61\n"
    assert sitting.changed(1, "tempo: 62\n", "a change").by == "page" and plan.read_text() == "tempo: 62\n"
    assert sitting.arrived() is None  # its own writing is no news
    assert sitting.undo().text == "tempo: 61\n" and plan.read_text() == "tempo: 61\n"
    assert sitting.undo().text == FIRST and sitting.undo() is None
    assert sitting.redo().text == "tempo: 61\n" and sitting.redo().text == "tempo: 62\n" and sitting.redo() is None
    assert sitting.back(0).text == FIRST == plan.read_text() and sitting.back(0) is None
    assert sitting.undo().text == "tempo: 62\n"
    assert [state.number for state in sitting.states] == list(range(sitting.newest.number + 1))
    with pytest.raises(CannotDo):
        sitting.back(99)


def test_what_the_file_becomes_is_a_state_that_can_be_taken_back(plan):
    sitting = Sitting(plan)
    saved(plan, "tempo: 70\n")
    assert (sitting.arrived().by, sitting.newest.number) == ("file", 1)
    assert sitting.arrived() is None and sitting.undo().text == FIRST == plan.read_text()


def test_a_plan_that_is_gone_is_no_state_and_comes_back_with_the_next_change(plan):
    sitting = Sitting(plan)
    plan.unlink()
    with pytest.raises(CannotDo):
        sitting.arrived()
    assert sitting.newest.number == 0
    assert sitting.typed("tempo: 61\n", 0).number == 1 and plan.read_text() == "tempo: 61\n"
    plan.unlink()
    with pytest.raises(CannotDo):
        sitting.arrived()
    saved(plan, "tempo: 61\n")
    assert sitting.arrived() is None  # the same as before
    saved(plan, "tempo: 64\n")
    assert sitting.arrived().text == "tempo: 64\n"


def test_nothing_is_written_over_what_somebody_else_has_saved(plan):
    sitting = Sitting(plan)
    saved(plan, "tempo: 70\n")  # and nobody has said so yet
    state = sitting.typed("tempo: 61\n", 0)
    assert plan.read_text() == "tempo: 70\n" == state.text and state.by == "file"
    assert (sitting.two.ours, sitting.two.theirs) == ("tempo: 61\n", "tempo: 70\n")
    assert sitting.two.difference.splitlines()[-2:] == ["-tempo: 70", "+tempo: 61"]
    assert sitting.settle(keep_ours=True).text == "tempo: 61\n" == plan.read_text() and sitting.two is None
    assert sitting.undo().text == "tempo: 70\n"


def test_what_was_typed_on_an_older_state_is_kept_beside_the_newer_one(plan):
    sitting = Sitting(plan)
    saved(plan, "tempo: 70\n")
    sitting.arrived()
    assert sitting.typed("tempo: 61\n", 0) is None and plan.read_text() == "tempo: 70\n"
    assert sitting.two.ours == "tempo: 61\n"
    state = sitting.settle(keep_ours=False)
    assert state.text == "tempo: 70\n" == plan.read_text() and sitting.two is None
    ours = next(each for each in sitting.states if each.text == "tempo: 61\n")
    assert sitting.back(ours.number).text == "tempo: 61\n"
    assert sitting.settle(keep_ours=True) is None  # there is nothing to choose any more


def test_whoever_goes_on_from_the_files_text_has_chosen(plan):
    sitting = Sitting(plan)
    saved(plan, "tempo: 70\n")
    assert sitting.typed("tempo: 61\n", 0).number == 1
    assert sitting.typed("tempo: 70\n# both\n", 1).text == "tempo: 70\n# both\n" == plan.read_text()
    assert sitting.two is None and "tempo: 61\n" in [state.text for state in sitting.states]


def test_a_change_that_was_meant_for_another_plan_is_refused(plan):
    sitting = Sitting(plan)
    saved(plan, "tempo: 70\n")
    sitting.arrived()
    with pytest.raises(CannotDo, match="changed meanwhile"):
        sitting.changed(0, "tempo: 61\n", "a change")
    saved(plan, FIRST)
    sitting.arrived()
    assert sitting.changed(0, "tempo: 61\n", "a change").number == 3  # the same plan again, whatever its number


def test_what_is_drawn_by_hand_is_one_step(plan):
    sitting = Sitting(plan)
    for percent in (80, 70, 75):
        assert sitting.changed(0, f"to: {percent}%\n", "drawn", drawing=True).number
    assert sitting.changed(0, "to: 75%\n", "drawn") is None  # where it is let go
    assert [state.said for state in sitting.states] == ["opened", "drawn"]
    assert sitting.changed(sitting.newest.number, "to: 60%\n", "drawn", drawing=True).number == 4
    assert sitting.changed(3, "to: 50%\n", "drawn").number == 5
    assert sitting.undo().text == "to: 75%\n" and sitting.undo().text == FIRST and sitting.undo() is None


@pytest.mark.parametrize("drawn", [True, False])
def test_a_file_that_changes_while_something_is_drawn_ends_the_drawing(plan, drawn):
    sitting = Sitting(plan)
    sitting.changed(0, "to: 80%\n", "drawn", drawing=True)
    saved(plan, "tempo: 70\n")
    sitting.arrived()
    with pytest.raises(CannotDo):
        sitting.changed(0, "to: 70%\n", "drawn", drawing=drawn)
    assert plan.read_text() == "tempo: 70\n"


def test_line_ends_marks_and_links_stay(tmp_path):
    real, plan = tmp_path / "real.yaml", tmp_path / "plan.yaml"
    real.write_bytes(b"\xef\xbb\xbftempo: 60\r\n# slow\r\n")
    real.chmod(0o640)
    plan.symlink_to(real)
    sitting = Sitting(plan)
    sitting.typed("tempo: 61\n# slow\n", 0)  # as a browser has it
    assert real.read_bytes() == b"\xef\xbb\xbftempo: 61\r\n# slow\r\n" and plan.is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert sitting.typed("tempo: 61\n# slow\n", 1) is None
    sitting.undo()
    assert real.read_bytes() == b"\xef\xbb\xbftempo: 60\r\n# slow\r\n"


def test_a_plan_that_may_not_be_written_says_so_and_stays(plan):
    sitting = Sitting(plan)
    plan.chmod(0o444)
    with pytest.raises(CannotDo, match="protected"):
        sitting.typed("tempo: 61\n", 0)
    assert sitting.newest.number == 0 and plan.read_text() == FIRST and not sitting.can_undo


def test_a_text_that_no_plan_can_have_is_refused(plan):
    with pytest.raises(CannotDo, match="too long"):
        Sitting(plan).typed("x" * 1_000_001, 0)
    assert plan.read_text() == FIRST


def test_nothing_but_the_plan_is_written(plan):
    sitting = Sitting(plan)
    for tempo in range(20):
        sitting.typed(f"tempo: {60 + tempo}\n")
    assert [file.name for file in plan.parent.iterdir()] == ["plan.yaml"]


def test_earlier_states_are_kept_where_the_user_says_and_over_nothing(plan, tmp_path):
    folder = tmp_path / "kept"
    with pytest.raises(CannotDo, match="no folder"):
        Sitting(plan, folder)
    folder.mkdir()
    sitting = Sitting(plan, folder)
    sitting.typed("tempo: 61\n")
    for percent in (80, 70):
        sitting.changed(1, f"to: {percent}%\n", "drawn", drawing=True)
    saved(plan, "tempo: 70\n")
    sitting.arrived()
    kept = sorted(folder.iterdir())
    assert [file.read_text() for file in kept] == [FIRST, "tempo: 61\n", "to: 70%\n"]
    assert {file.suffix for file in kept} == {".yaml"}


def test_a_thousand_changes_take_no_more_room_than_that(plan):
    sitting = Sitting(plan)
    for number in range(MOST_STATES + 50):
        sitting.changed(number, f"tempo: {number}\n", "a change")
    assert len(sitting.states) == MOST_STATES and sitting.states[-1].text == sitting.newest.text
    steps = 0
    while sitting.undo():
        steps += 1
    assert steps == MOST_STATES


class Sittings(RuleBasedStateMachine):
    """A sitting beside a model of it: whatever page and editors do, no text is lost, the file is what is shown, and
    undo and redo go along one line."""

    texts = st.sampled_from([f"tempo: {n}\n" for n in range(40, 46)])

    @initialize()
    def begin(self):
        self.folder = tempfile.TemporaryDirectory()
        self.file = Path(self.folder.name) / "plan.yaml"
        self.file.write_text("tempo: 40\n")
        self.sitting = Sitting(self.file)
        self.past, self.future, self.disk = [], [], "tempo: 40\n"

    def teardown(self):
        if hasattr(self, "folder"):
            self.folder.cleanup()

    @property
    def text(self):
        return self.sitting.newest.text

    def gone_on(self, before):
        self.past.append(before)
        self.future.clear()

    @rule(text=texts)
    def types(self, text):
        before, number = self.text, self.sitting.newest.number
        state = self.sitting.typed(text, number)
        if self.disk != before:  # somebody has saved, and we were not told
            if text == before:
                assert state is None
            elif text == self.disk:
                self.gone_on(before)
            else:
                assert state.text == self.disk and self.sitting.two.ours == text
                self.gone_on(before)
        elif text != before:
            self.gone_on(before)
            self.disk = text

    @rule(text=texts)
    def saves_elsewhere(self, text):
        saved(self.file, text)
        self.disk = text

    @rule()
    def looks(self):
        before = self.text
        state = self.sitting.arrived()
        assert self.text == self.disk or state is None
        if state is not None:
            self.gone_on(before)

    @precondition(lambda self: self.disk == self.text)
    @rule()
    def takes_back(self):
        before, state = self.text, self.sitting.undo()
        assert (state is None) == (not self.past)
        if state is not None:
            assert state.text == self.past.pop()
            self.future.append(before)
            self.disk = state.text

    @precondition(lambda self: self.disk == self.text)
    @rule()
    def makes_again(self):
        before, state = self.text, self.sitting.redo()
        assert (state is None) == (not self.future)
        if state is not None:
            assert state.text == self.future.pop()
            self.past.append(before)
            self.disk = state.text

    @precondition(lambda self: self.disk == self.text)
    @rule(data=st.data())
    def brings_back(self, data):
        earlier = data.draw(st.sampled_from(self.sitting.states))
        before, state = self.text, self.sitting.back(earlier.number)
        assert (state is None) == (earlier.text == before)
        if state is not None:
            self.gone_on(before)
            self.disk = state.text

    @precondition(lambda self: self.disk == self.text and self.sitting.two is not None)
    @rule(ours=st.booleans())
    def chooses(self, ours):
        before, two = self.text, self.sitting.two
        state = self.sitting.settle(ours)
        assert self.sitting.two is None
        if ours and two.ours != before:
            self.gone_on(before)
            self.disk = state.text

    @invariant()
    def the_file_is_what_was_last_written(self):
        if hasattr(self, "file"):
            assert self.file.read_text() == self.disk

    @invariant()
    def no_text_is_lost(self):
        if hasattr(self, "sitting"):
            there = {state.text for state in self.sitting.states} | {self.disk}
            waiting = {self.sitting.two.ours, self.sitting.two.theirs} if self.sitting.two else set()
            assert self.text in there and self.typed_last() <= there | waiting

    def typed_last(self):
        return {self.sitting.two.ours} if self.sitting.two else {self.text}

    @invariant()
    def numbers_rise(self):
        if hasattr(self, "sitting"):
            numbers = [state.number for state in self.sitting.states]
            assert numbers == sorted(set(numbers)) and numbers[-1] == self.sitting.newest.number


TestSittings = Sittings.TestCase
TestSittings.settings = settings(max_examples=30, stateful_step_count=25, deadline=None)
