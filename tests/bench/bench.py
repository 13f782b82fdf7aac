"""How long things take, as a table of ratios measured in one run: python tests/bench/bench.py

Each figure is the median of several runs of a whole process, or of a function where the table says so. Ratios compare
two commands run in turn, so that a machine whose speed drifts does not bend them. The opponent of `render` is the
synthesizer library's own file player on the same MIDI file and the same bank, the modelled guitar's.
"""

from __future__ import annotations

import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

COMMAND = [sys.executable, "-c", "from render.commands.entry import main; main()"]
RUNS = 5

# The library's own file player, driven as its command-line tool drives it: a file renderer, block by block.
PLAYER = """
import sys
from ctypes import c_char_p, c_int, c_void_p
from render.sound.library import binding
midi, bank, wav = (argument.encode() for argument in sys.argv[1:])
fs = binding()
for name, gives, *takes in (
    ("fluid_settings_setstr", c_int, c_void_p, c_char_p, c_char_p),
    ("new_fluid_player", c_void_p, c_void_p),
    ("fluid_player_add", c_int, c_void_p, c_char_p),
    ("fluid_player_play", c_int, c_void_p),
    ("fluid_player_get_status", c_int, c_void_p),
    ("new_fluid_file_renderer", c_void_p, c_void_p),
    ("fluid_file_renderer_process_block", c_int, c_void_p),
    ("delete_fluid_file_renderer", None, c_void_p),
):
    getattr(fs, name).restype, getattr(fs, name).argtypes = gives, takes
settings = fs.new_fluid_settings()
for name, text in ((b"audio.file.name", wav), (b"audio.file.type", b"wav"), (b"player.timing-source", b"sample")):
    fs.fluid_settings_setstr(settings, name, text)
for name in (b"synth.reverb.active", b"synth.chorus.active", b"synth.lock-memory"):
    fs.fluid_settings_setint(settings, name, 0)
synth = fs.new_fluid_synth(settings)
fs.fluid_synth_sfload(synth, bank, 1)
player = fs.new_fluid_player(synth)
fs.fluid_player_add(player, midi)
fs.fluid_player_play(player)
renderer = fs.new_fluid_file_renderer(synth)
while fs.fluid_player_get_status(player) == 1 and fs.fluid_file_renderer_process_block(renderer) == 0:
    pass
fs.delete_fluid_file_renderer(renderer)
"""


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        os.environ["LENTANDO_CACHE"] = str(folder / "cache")
        os.environ["PYTHONPATH"] = str(ROOT)
        plan = next(iter(sorted((ROOT / "plans").glob("*.yaml"))))
        run([*COMMAND, "check", plan])  # fills the cache
        print(f"Python {sys.version.split()[0]}, {os.cpu_count()} cores, medians of {RUNS} runs\n")
        starting(plan, folder)
        rendering(plan, folder)
        strumming(plan, folder)
        showing(plan, folder)
        growing(folder)


def starting(plan: Path, folder: Path) -> None:
    print("whole processes                              seconds")
    other = plan.with_name("low-water-inward.yaml")
    commands = ["--help"], ["check", plan], ["timeline", plan, "--json"], ["compare", plan, other], ["explain"]
    for words in commands:
        print(f"  lentando {words[0]:<33} {median([*COMMAND, *words]):8.2f}")
    taken = []
    for number in range(RUNS):  # each on a plan of its own, since it mends it
        shutil.copytree(plan.parent, folder / f"plans{number}")
        misplaced = folder / f"plans{number}" / "low-water-misplaced.yaml"
        taken.append(seconds([*COMMAND, "check", "--fix", misplaced]))
    print(f"  lentando {'check --fix':<33} {statistics.median(taken):8.2f}")


def rendering(plan: Path, folder: Path) -> None:
    """Against the file player of the synthesizer library: its command where there is one (with its reverb and chorus,
    as it comes, and without them, as we render), or else the player driven through Python, without them."""
    import soundfile

    from soundfonts.guitar import guitar_bank

    bank = guitar_bank()
    print("\nrender to WAV, warm cache        minutes   seconds   file player   ratio")
    tool = shutil.which("fluidsynth")
    for minutes in (2, 10):
        long, midi = folder / f"long{minutes}.yaml", folder / "long.mid"
        lengthen(plan, long, minutes * 60)
        run([*COMMAND, "render", long, "-o", midi])
        ours = [*COMMAND, "render", long, "-o", folder / "ours.wav"]
        quiet = [tool, "-ni", "-q", "-r", "44100", "-F", folder / "theirs.wav"]
        theirs = {
            "its command": [*quiet, bank, midi],
            "its command, no effects": [*quiet, "-R", "0", "-C", "0", bank, midi],
        }
        if not tool:
            theirs = {"no effects": [sys.executable, "-c", PLAYER, midi, bank, folder / "theirs.wav"]}
        for who, command in theirs.items():
            pairs = [(seconds(ours), seconds(command)) for _ in range(RUNS)]
            ratio = statistics.median(a / b for a, b in pairs)
            a, b = (statistics.median(column) for column in zip(*pairs, strict=True))
            length = soundfile.info(folder / "ours.wav").duration / 60
            print(f"  {who:<28} {length:9.1f} {a:9.2f} {b:13.2f} {ratio:7.2f}")


ONE_CORE = """
import os, sys, time
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
from soundfonts.guitar import guitar_bank
start = time.perf_counter()
bank = guitar_bank()
print(time.perf_counter() - start)
from render.sound.audio import render_audio
from timing import load
performance = load(sys.argv[1]).performance
for _ in range(3):
    start = time.perf_counter()
    take = render_audio(performance, sys.argv[2])
    print(take.seconds / (time.perf_counter() - start))
"""


def strumming(plan: Path, folder: Path) -> None:
    """The modelled guitar on one core: how long it takes to build, and how much quicker than real time it plays."""
    built, speed = [], []
    for run_ in range(3):
        around = {**os.environ, "LENTANDO_CACHE": str(folder / f"cache{run_}"), "OMP_NUM_THREADS": "1"}
        command = [sys.executable, "-c", ONE_CORE, str(plan), str(folder / "one.wav")]
        said = subprocess.run(command, capture_output=True, text=True, env=around, check=True).stdout.split()
        built.append(float(said[0]))
        speed += map(float, said[1:])
    print(f"\nthe guitar on one core: built in {statistics.median(built):.1f} s, ", end="")
    print(f"plays at {statistics.median(speed):.0f} times real time")


def showing(plan: Path, folder: Path) -> None:
    """Sheet, page and draft: of the demo, and of 500 bars with a slowdown at every fourth."""
    long = folder / "long.yaml"
    (folder / "long.musicxml").write_text(_eighths(500), encoding="utf-8")
    ends = range(4, 501, 4)
    phrases = "".join(f"  - {{bars: {end - 3}-{end}, arch: 8%}}\n" for end in ends)
    slowing = "".join(f"  - {{rallentando: {end - 1}:4 - {end}:4, to: 84%, then: a tempo}}\n" for end in ends)
    head = "score: long.musicxml\ninstrument: classical guitar\ntempo: 120\n"
    long.write_text(f"{head}phrases:\n{phrases}slowing:\n{slowing}", encoding="utf-8")
    other = folder / "other.yaml"
    other.write_text("based on: long.yaml\ntempo: 124\n", encoding="utf-8")
    inward = plan.with_name("low-water-inward.yaml")
    print("\nsheet, page and draft                        seconds        kB")
    for name, one, two, score in (
        ("demo", plan, inward, plan.with_name("low-water.musicxml")),
        ("500 bars", long, other, folder / "long.musicxml"),
    ):
        for words, made in (
            (["draw", one, "-o", folder / "sheet.pdf"], "sheet.pdf"),
            (["compare", one, two, "-o", folder / "page.html"], "page.html"),
            (["draft", score, "-o", folder / "draft.yaml", "--force"], "draft.yaml"),
        ):
            taken = median([*COMMAND, *words], RUNS if name == "demo" else 1)
            print(f"  {words[0] + ', ' + name:<40} {taken:9.2f} {(folder / made).stat().st_size / 1000:9.0f}")


def _eighths(bars: int) -> str:
    """A score in two voices: quavers over minims."""
    from written import FOUR_FOUR, bar, musicxml, note

    line = [("E4", "G4", "A4", "B4"), ("C5", "A4", "F4", "D4")]
    content = [
        "".join(note(name, 0.5) for name in line[n % 2] * 2) + "<backup><duration>48</duration></backup>"
        + note("A2", 2, voice=2) + note("E2", 2, voice=2)
        for n in range(bars)
    ]  # fmt: skip
    return musicxml([bar(each, n, FOUR_FOUR if n == 1 else "") for n, each in enumerate(content, 1)])


def lengthen(plan: Path, longer: Path, target: float) -> None:
    """A plan based on `plan` that plays all bars again and again, for at least `target` seconds."""
    from timing import load

    once = load(plan)
    bars = f"{once.score.bar_name(0)}-{once.score.bar_name(len(once.score.bars) - 1)}"
    length, times = 0.0, 0
    while length < target:
        times = max(times + 1, int(times * target / length) if length else 1)
        order = ", ".join([bars] * times)
        longer.write_text(f"based on: {os.path.relpath(plan, longer.parent)}\norder: [{order}]\n")
        length = load(longer).performance.time.length


def growing(folder: Path) -> None:
    from support import score

    print("\nfunctions            notes   performance (s)   per note   MIDI (s)   per note   compare (s)   per note")
    for name, program in (("piano", 0), ("guitar", 24)):
        _grow(folder, name, lambda bars, program=program: score(bars=bars, program=program))
    _grow(folder, "marked", marked)
    _grow(folder, "trills", ornamented)


def marked(bars: int):
    """A score with a dynamic in every other bar and a hairpin in those between."""
    from support import score

    marks = [{"kind": "dynamic", "bar": bar, "text": ("p", "f")[bar // 2 % 2]} for bar in range(0, bars, 2)]
    marks += [{"kind": "hairpin", "bar": bar, "end_bar": bar, "end_offset": 4.0, "value": 1.0}
              for bar in range(1, bars, 2)]  # fmt: skip
    return score(bars=bars, marks=sorted(marks, key=lambda mark: mark["bar"]))


def ornamented(bars: int):
    """A score with a trill in every bar."""
    from support import score

    from timing.score import Ornament

    made = score(bars=bars)
    made.notes["ornament"][::4], made.notes["upper"][::4] = Ornament.TRILL, 2
    return made


def _grow(folder: Path, name: str, make) -> None:
    from support import reading

    from render.midi.file import write_midi
    from timing.comparing import compare

    first: tuple[float, ...] | None = None
    for notes in (1_000, 10_000, 100_000):
        made = make(notes // 4)
        last = notes // 4
        plan = {
            "voices": {"melody": {"level": "1 dB", "lead": "20 ms"}},
            "phrases": [{"bars": f"{bar}-{bar + 3}", "arch": "6%"} for bar in range(1, min(last, 4000) - 3, 4)],
            "slowing": [{"rallentando": f"{last - 1}:1 - {last}:4", "to": "60%"}],
        }
        performing = best(lambda made=made, plan=plan: reading(plan, made))
        performance = reading(plan, made).performance
        writing = best(lambda performance=performance: write_midi(performance, folder / "grown.mid"))
        both = [reading(plan, made), reading(plan | {"tempo": 90}, made)]
        setting = best(lambda both=both: compare(both))
        here = (performing / notes, writing / notes, setting / notes)
        first = first or here
        grown = [each / least for each, least in zip(here, first, strict=True)]
        print(f"  {name:<10} {notes:>13,} {performing:17.3f} {grown[0]:9.2f}x {writing:10.3f} {grown[1]:9.2f}x", end="")
        print(f"{setting:12.3f} {grown[2]:9.2f}x")


def best(function) -> float:
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        function()
        taken.append(time.perf_counter() - start)
    return min(taken)


def median(command: list, runs: int = RUNS) -> float:
    return statistics.median(seconds(command) for _ in range(runs))


def seconds(command: list) -> float:
    start = time.perf_counter()
    run(command)
    return time.perf_counter() - start


def run(command: list) -> None:
    done = subprocess.run([str(word) for word in command], capture_output=True, text=True)
    if done.returncode not in (0, 1):
        raise SystemExit(f"{' '.join(map(str, command))}\n{done.stderr}")


if __name__ == "__main__":
    main()
