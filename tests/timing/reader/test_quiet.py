"""music21 says nothing while it reads for us, and whoever else speaks meanwhile is heard."""

from __future__ import annotations

import sys
import threading
import warnings
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager

import pytest
from support import musicxml

from timing.reader import read_score
from timing.reader.quiet import Warned, quiet

TUNE = "X:1\nT:Tune\nM:4/4\nL:1/8\nK:C\n" + "CDEF GABc|" * 8 + "\n"
# an octave that ends without having begun: music21 warns of it
LOST = '<direction><direction-type><octave-shift type="stop"/></direction-type></direction>'


@pytest.fixture(autouse=True)
def threads_take_turns_often():
    before = sys.getswitchinterval()
    sys.setswitchinterval(1e-5)
    yield
    sys.setswitchinterval(before)


@contextmanager
def beside(do: Callable[[int], None]):
    """Does something again and again in another thread, and counts how often."""
    stop, done = threading.Event(), []

    def again() -> None:
        while not stop.is_set():
            do(len(done))
            done.append(len(done))
            stop.wait(1e-4)

    thread = threading.Thread(target=again)
    thread.start()
    try:
        yield done
    finally:
        stop.set()
        thread.join()


@pytest.fixture
def lossy(tmp_path):
    """A score of which something is passed over."""
    path = tmp_path / "lossy.musicxml"
    path.write_text(musicxml(2).replace("<note>", LOST + "<note>", 1))
    return path


def test_what_another_thread_says_meanwhile_is_not_lost(lossy, capfd):
    def say(number: int) -> None:
        print(f"out {number}")
        print(f"err {number}", file=sys.stderr)
        warnings.warn(f"warning {number}", RuntimeWarning, stacklevel=1)

    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        with beside(say) as said:
            for _ in range(5):
                assert [remark.code for remark in read_score(lossy, cache=False).remarks] == ["passed-over"]
    out, err = capfd.readouterr()
    assert len(said) > 3
    assert out.splitlines() == [f"out {number}" for number in said]
    assert err.splitlines() == [f"err {number}" for number in said]
    assert [str(each.message) for each in caught] == [f"warning {number}" for number in said]


def test_streams_and_warnings_stay_what_they_are(lossy):
    before = sys.stdout, sys.stderr, warnings.showwarning, warnings.filters
    felt = set()

    def look(_: int) -> None:
        now = sys.stdout, sys.stderr, warnings.showwarning, warnings.filters
        felt.update(place for place, (one, other) in enumerate(zip(before, now, strict=True)) if one is not other)

    with beside(look):
        for _ in range(5):
            read_score(lossy, cache=False)
    assert not felt


def test_music21_is_heard_where_it_does_not_read_for_us(capfd):
    from music21 import key
    from music21.environment import Environment

    with quiet() as warned:
        Environment("ours").warn("nothing")
        key.warnings.warn("kept", key.KeyWarning)
        vars(key)["print"]("nothing")
        with ThreadPoolExecutor(1) as other:
            other.submit(Environment("theirs").warn, "told").result()
            with pytest.warns(key.KeyWarning, match="heard"):
                other.submit(key.warnings.warn, "heard", key.KeyWarning).result()
            other.submit(vars(key)["print"], "printed").result()
    assert warned == [Warned("KeyWarning", "kept")]
    out, err = capfd.readouterr()
    assert out == "printed\n" and "told" in err and "nothing" not in out + err


def test_scores_can_be_read_at_once(tmp_path, lossy):
    """Each has its own remarks; tunes are read without beams, which music21 is kept from making in one reading only."""
    (tmp_path / "tune.abc").write_text(TUNE)
    (tmp_path / "piece.musicxml").write_text(musicxml(4))
    files = [tmp_path / "tune.abc", lossy, tmp_path / "piece.musicxml"]
    alone = [read_score(file, cache=False) for file in files]
    with ThreadPoolExecutor(6) as threads:
        together = list(threads.map(lambda file: read_score(file, cache=False), files * 4))
    for number, score in enumerate(together):
        expected = alone[number % len(files)]
        assert score.notes.tobytes() == expected.notes.tobytes() and len(score.notes)
        assert score.bars.tobytes() == expected.bars.tobytes()
        assert score.remarks == expected.remarks
