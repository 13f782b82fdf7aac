"""How long things take, as a table of ratios measured in one run: python tests/bench/bench.py

Each figure is the median of several runs of a whole process, or of a function where the table says so. Ratios compare
two commands run in turn, so that a machine whose speed drifts does not bend them. The bank is TimGM6mb.sf2, which comes
with pretty_midi; the opponent of `render` is the synthesizer library's own file player on the same MIDI file.
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

COMMAND = [sys.executable, "-c", "from render.command import main; main()"]
RUNS = 5

# The library's own file player, driven as its command-line tool drives it: a file renderer, block by block.
PLAYER = """
import sys
from ctypes import c_char_p, c_int, c_void_p
from render.synth import binding
midi, bank, wav = (argument.encode() for argument in sys.argv[1:])
fs = binding()
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
        starting(plan)
        rendering(plan, folder)
        growing(folder)


def starting(plan: Path) -> None:
    print("whole processes                              seconds")
    for words in (["--help"], ["check", plan], ["timeline", plan, "--json"]):
        print(f"  lentando {words[0]:<33} {median([*COMMAND, *words]):8.2f}")


def rendering(plan: Path, folder: Path) -> None:
    """Against the file player of the synthesizer library: its command where there is one (with its reverb and chorus,
    as it comes, and without them, as we render), or else the player driven through Python, without them."""
    import soundfile

    from soundfonts.banks import standard_bank

    print("\nrender to WAV, warm cache        minutes   seconds   file player   ratio")
    tool = shutil.which("fluidsynth")
    for minutes in (2, 10):
        long, midi = folder / f"long{minutes}.yaml", folder / "long.mid"
        lengthen(plan, long, minutes * 60)
        run([*COMMAND, "render", long, "-o", midi])
        ours = [*COMMAND, "render", long, "-o", folder / "ours.wav"]
        quiet = [tool, "-ni", "-q", "-r", "44100", "-F", folder / "theirs.wav"]
        theirs = {
            "its command": [*quiet, standard_bank(), midi],
            "its command, no effects": [*quiet, "-R", "0", "-C", "0", standard_bank(), midi],
        }
        if not tool:
            theirs = {"no effects": [sys.executable, "-c", PLAYER, midi, standard_bank(), folder / "theirs.wav"]}
        for who, command in theirs.items():
            pairs = [(seconds(ours), seconds(command)) for _ in range(RUNS)]
            ratio = statistics.median(a / b for a, b in pairs)
            a, b = (statistics.median(column) for column in zip(*pairs, strict=True))
            length = soundfile.info(folder / "ours.wav").duration / 60
            print(f"  {who:<28} {length:9.1f} {a:9.2f} {b:13.2f} {ratio:7.2f}")


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
    from support import reading, score

    from render.midi import write_midi

    print("\nfunctions            notes   performance (s)   per note   MIDI (s)   per note")
    first: tuple[float, float] | None = None
    for notes in (1_000, 10_000, 100_000):
        made = score(bars=notes // 4)
        last = notes // 4
        plan = {
            "voices": {"melody": {"level": "1 dB", "lead": "20 ms"}},
            "phrases": [{"bars": f"{bar}-{bar + 3}", "arch": "6%"} for bar in range(1, min(last, 4000) - 3, 4)],
            "slowing": [{"rallentando": f"{last - 1}:1 - {last}:4", "to": "60%"}],
        }
        performing = best(lambda made=made, plan=plan: reading(plan, made))
        performance = reading(plan, made).performance
        writing = best(lambda performance=performance: write_midi(performance, folder / "grown.mid"))
        here = (performing / notes, writing / notes)
        first = first or here
        print(
            f"  {notes:>24,} {performing:17.3f} {here[0] / first[0]:9.2f}x {writing:10.3f} {here[1] / first[1]:9.2f}x"
        )


def best(function) -> float:
    taken = []
    for _ in range(3):
        start = time.perf_counter()
        function()
        taken.append(time.perf_counter() - start)
    return min(taken)


def median(command: list) -> float:
    return statistics.median(seconds(command) for _ in range(RUNS))


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
