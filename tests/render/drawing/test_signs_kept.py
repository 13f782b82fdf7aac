"""Of what the engraver draws nothing is lost on the way to a sheet, and nothing that a score says asks for anything
outside it."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections import Counter
from functools import cache
from itertools import count
from pathlib import Path
from xml.etree.ElementTree import Element, fromstring

import pytest
from house import PLANS
from written import FOUR_FOUR, back, bar, musicxml, note, suite

from render.drawing.cleaning import clean
from render.drawing.engraver import Engraver
from render.drawing.engraving import Engraving
from render.drawing.sheet import Sheet, make_sheet
from render.drawing.sheet_files import write_sheet
from timing.loading import load
from timing.reader import read_score

DRAWN = ("path", "use", "polygon", "polyline", "ellipse", "rect", "text")
PLACE = ("x", "y", "d", "points", "cx", "cy", "transform")
# boxes are for measuring, the others hold the place of what is not drawn there
TAKEN_OUT = re.compile(r"bounding-box|placeholder|MilestoneEnd")

TREBLE = "<clef><sign>G</sign><line>2</line></clef>"
GUITAR = "<clef><sign>G</sign><line>2</line><clef-octave-change>-1</clef-octave-change></clef>"
CREDIT = '<credit page="1">{}</credit>'


def technical(*signs: str) -> str:
    return f"<notations><technical>{''.join(signs)}</technical></notations>"


def direction(content: str, more: str = "", place: str = 'placement="above"') -> str:
    return f"<direction {place}><direction-type>{content}</direction-type>{more}</direction>"


def ending(number: str, content: str, right: str = "") -> str:
    start = f'<barline location="left"><ending number="{number}" type="start"/></barline>'
    stop = f'<barline location="right"><ending number="{number}" type="stop"/>{right}</barline>'
    return start + content + stop


AGAIN = '<repeat direction="backward"/>'
FOUR = "".join(note(pitch) for pitch in ("C5", "E5", "G4", "B4"))


def guitar_piece() -> str:
    """Fingers, strings, positions, three voices, accidentals, harmonics, slides, a barré."""
    upper = note("G#4", 1, technical("<fingering>4</fingering>", "<string>2</string>"))
    upper += note("A4", 1, technical("<string>1</string>") + "<notations><slide type='start' number='1'/></notations>")
    upper += note("C5", 1, "<notations><slide type='stop' number='1'/></notations>") + note(
        "Bb4", 1, technical("<open-string/>")
    )
    inner = note("rest", 1, voice=2) + note("E4", 1, technical("<harmonic/>"), voice=2) + note("D4", 2, voice=2)
    bass = note("A3", 4, technical("<fingering>0</fingering>", "<string>5</string>", "<pluck>p</pluck>"), voice=3)
    signs = direction("<words>C V</words>") + direction('<bracket type="start" line-end="down" number="1"/>')
    stop = direction('<bracket type="stop" line-end="down" number="1"/>')
    first = bar(signs + upper + back(4) + inner + back(4) + bass + stop, 1, FOUR_FOUR + GUITAR)
    rolled = "<notations><arpeggiate/></notations>"
    chord = note("E4", 1, rolled) + note("G4", 1, rolled, first="<chord/>")
    second = bar(ending("1", chord + FOUR.removeprefix(note("C5")), AGAIN), 2)
    return musicxml([first, second, bar(ending("2", FOUR), 3)], names=("Guitar",))


def piano_piece() -> str:
    """Two staves: dynamics, hairpins, pedal, octaves, ornaments, grace notes, triplets, rehearsal letters, jumps, a
    change of clef, of key and of metre."""
    two = "<staves>2</staves><clef number='1'><sign>G</sign><line>2</line></clef>"
    two += "<clef number='2'><sign>F</sign><line>4</line></clef>"
    low = "".join(note("C3", 2, "<staff>2</staff>", voice=5) for _ in range(2))
    high = note("D5", first="<grace/>") + note(
        "C5", 1, "<notations><ornaments><trill-mark/></ornaments><slur type='start'/></notations>"
    )
    high += note(
        "E5", 1, "<notations><slur type='stop'/><articulations><staccato/><accent/></articulations></notations>"
    )
    triplet = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
    type_ = f"<type>eighth</type>{triplet}"
    high += note("G4", 1 / 3, type_ + "<notations><tuplet type='start'/></notations>") + note("A4", 1 / 3, type_)
    high += note("B4", 1 / 3, type_ + "<notations><tuplet type='stop'/></notations>")
    high += note("C5", 1, "<notations><fermata/><tied type='start'/></notations>")
    before = direction("<dynamics><mf/></dynamics>", "<staff>1</staff>") + direction('<wedge type="crescendo"/>')
    before += direction("<rehearsal>B</rehearsal>") + direction('<pedal type="start" line="no"/>', "<staff>2</staff>")
    before += direction('<octave-shift type="down" size="8"/>') + direction("<segno/>")
    before += direction("<metronome><beat-unit>quarter</beat-unit><per-minute>80</per-minute></metronome>")
    after = direction('<wedge type="stop"/>') + direction('<octave-shift type="stop" size="8"/>')
    after += direction('<pedal type="stop" line="no"/>', "<staff>2</staff>") + direction("<words>To Coda</words>")
    first = bar(before + high + after + back(4) + low, 1, FOUR_FOUR + two)
    changed = "<key><fifths>3</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time>" + TREBLE
    sung = note(
        "C5", 1, "<notations><tied type='stop'/></notations><lyric><syllabic>begin</syllabic><text>la</text></lyric>"
    )
    sung += (
        note("E5", 1, "<notations><ornaments><tremolo>2</tremolo></ornaments></notations>") + note("rest") + note("F#5")
    )
    harmony = "<harmony><root><root-step>A</root-step></root><kind>minor</kind></harmony>"
    figures = "<figured-bass><figure><figure-number>6</figure-number></figure></figured-bass>"
    second = bar(harmony + figures + sung + direction("<words>D.S. al Coda</words>") + back(4) + low, 2, changed)
    third = bar(
        direction("<coda/>")
        + FOUR
        + back(4)
        + low
        + "<barline location='right'><bar-style>light-heavy</bar-style></barline>",
        3,
    )
    return musicxml([first, second, third], names=("Piano",))


def engraver_of(folder: Path, text: str) -> Engraver:
    path = folder / "score.musicxml"
    path.write_text(text, encoding="utf-8")
    return Engraver(read_score(path, cache=False))


def systems_before(engraver: Engraver, width: float) -> list[Element]:
    pages = [fromstring(page) for page in engraver._pages(width)]
    return [system for page in pages for system in page.iter("g") if system.get("class") == "system"]


def systems_after(engraving: Engraving) -> list[Element]:
    return [fromstring(system.svg) for system in engraving.systems]


def signs(systems: list[Element]) -> Counter:
    """What is drawn: the group that it belongs to, the shape and its place, or its text."""
    found: Counter = Counter()

    def walk(element: Element, owner: str) -> None:
        kind = element.get("class", "")
        if TAKEN_OUT.search(kind):
            return
        owner = kind if element.tag == "g" and kind not in ("", "music", "system") else owner
        if element.tag in DRAWN and not (owner == "fing string" and element.tag == "ellipse"):
            finger = owner.startswith("fing")
            place = () if finger else tuple(element.get(key, "") for key in PLACE)
            shape = element.get("href", "").partition("-")[0]
            said = "".join(element.itertext()).strip()
            found[owner.removesuffix(" string"), element.tag, place, shape, said.strip("{}") if finger else said] += 1
        for child in element:
            walk(child, owner)

    for system in systems:
        walk(system, "")
    return found


def classes(systems: list[Element]) -> Counter:
    """The groups that draw anything."""
    groups = (group for system in systems for group in system.iter("g") if not TAKEN_OUT.search(group.get("class", "")))
    shown = (group.get("class", "").removesuffix(" string") for group in groups if signs([group]))
    return Counter(kind for kind in shown if kind not in ("", "music", "system"))


def judge_kept(engraver: Engraver) -> None:
    pages = cache(engraver._pages)
    engraver._pages = pages  # laid out anew, a line may be longer by a hair
    for width in (1000, 400):
        before, after = systems_before(engraver, width), systems_after(engraver.engrave(width))
        assert signs(after) == signs(before)
        assert classes(after) == classes(before)


@pytest.mark.parametrize("piece", [guitar_piece, piano_piece])
def test_no_sign_is_lost_of_a_score_that_is_rich_in_them(piece, tmp_path):
    engraver = engraver_of(tmp_path, piece())
    judge_kept(engraver)
    kinds = {kind.split()[0] for kind in classes(systems_after(engraver.engrave(1000)))}
    some = {"guitar_piece": {"accid", "ending", "fing", "gliss", "arpeg", "bracketSpan", "rest", "ledgerLines"},
            "piano_piece": {"dynam", "hairpin", "pedal", "octave", "trill", "slur", "artic", "tuplet", "fermata", "tie",
                            "reh", "tempo", "verse", "harm", "fb", "keySig", "bTrem", "repeatMark", "dir",
                            "clef"}}  # fmt: skip
    assert some[piece.__name__] <= kinds


@pytest.mark.parametrize("name", ["low-water", "umbrella-stand"])
def test_no_sign_is_lost_of_the_demo_scores(name):
    judge_kept(Engraver(read_score(PLANS / f"{name}.musicxml")))


@pytest.mark.parametrize("number", [
    "01a", "02a", "11a", "13a", "22a", "23a", "24a", "31a", "31c", "32a", "33a", "33b", "41c", "43e", "45a", "45b",
    "45e", "46a", "61a", "71a", "72a", "73a", "74a",
])  # fmt: skip
def test_no_sign_is_lost_of_the_musicxml_test_suite(number):
    """The MusicXML test suite (MIT licence) as music21 carries it."""
    judge_kept(Engraver(read_score(suite()[number])))


@pytest.mark.parametrize("width", [1000, 260])
def test_the_brackets_of_endings_are_drawn_and_lie_within_their_system(width, tmp_path):
    bars = [bar(FOUR, 1, FOUR_FOUR + TREBLE), bar(ending("1", FOUR, AGAIN), 2), bar(ending("2", FOUR), 3)]
    systems = engraver_of(tmp_path, musicxml(bars)).engrave(width).systems
    found = []
    for system in systems:
        for group in fromstring(system.svg).iter("g"):
            if group.get("class") == "voltaBracket":
                found.append("".join(group.itertext()))
                heights = [
                    float(y) for path in group.iter("path") for y in re.findall(r"[ML][\d.-]+ ([\d.-]+)", path.get("d"))
                ]
                assert system.top <= min(heights) * system_scale(system) <= system.staff_top
    assert found == ["1", "2"]


def system_scale(system) -> float:
    return float(re.match(r'<g class="music" transform="scale\(([\d.]+)\)"', system.svg)[1])


# -- what a score says must not ask for anything

EVIL = "http://198.51.100.7/"  # RFC 5737: an address for documentation


def hostile_piece() -> str:
    """Addresses wherever a score has a colour, a font, a language or a picture."""
    number = count()

    def colour() -> str:
        return f'color="url({EVIL}{next(number)})"'

    def font() -> str:
        address = f"{EVIL}{next(number)}"
        return (
            f'font-family="Evil, url({address})" font-style="italic" style="fill:url({address});@import url({address})"'
            f' href="{address}" xlink:href="{address}" xml:lang="url({address})"'
        )

    def both() -> str:
        return f"{colour()} {font()}"

    attributes = f"<divisions>12</divisions><key {colour()}><fifths>2</fifths></key><time {colour()}><beats>4</beats>"
    attributes += f"<beat-type>4</beat-type></time><clef {colour()}><sign>G</sign><line>2</line></clef>"
    notes = note(
        "C5",
        1,
        f"""<notehead {colour()}>normal</notehead><notations><tied type="start" {colour()}/>
        <slur type="start" {colour()}/><technical><fingering {both()}>2</fingering><string>3</string></technical>
        <articulations><accent {colour()}/></articulations><fermata {colour()}/></notations>
        <lyric {both()}><text {both()}>la</text></lyric>""",
    ).replace("<note>", f"<note {colour()}>")
    notes += note(
        "C5",
        1,
        f"""<stem {colour()}>up</stem><notations><tied type="stop"/><slur type="stop"/><ornaments>
        <trill-mark {colour()}/></ornaments><glissando type="start" {both()}>gl.</glissando></notations>""",
    )
    notes += note(
        "E5",
        1,
        f"""<accidental {colour()}>sharp</accidental><notations><arpeggiate {colour()}/>
        <glissando type="stop"/></notations>""",
    ) + note("rest").replace("<note>", f"<note {colour()}>")
    said = f'&lt;image href="{EVIL}"/&gt; @import url({EVIL})'
    signs = [
        f'<words {both()} xml:space="preserve" halign="right">{said}</words>', f"<words {both()}>Fine</words>",
        f"<dynamics {both()}><f {colour()}/></dynamics>", f'<wedge type="crescendo" {colour()}/>', f"<segno {both()}/>",
        f"<metronome {both()}><beat-unit>quarter</beat-unit><per-minute>90</per-minute></metronome>",
        f"<coda {both()}/>",
        f'<rehearsal {both()} enclosure="square">A</rehearsal>', f'<octave-shift type="down" size="8" {both()}/>',
        f'<pedal type="start" line="yes" {both()}/>', f'<bracket type="start" line-end="none" {colour()}/>',
        f'<image source="{EVIL}a.png" type="image/png"/>', f"<symbol {both()}>segno</symbol>",
    ]  # fmt: skip
    ends = ['<wedge type="stop"/>', '<octave-shift type="stop" size="8"/>', '<pedal type="stop" line="yes"/>',
            '<bracket type="stop" line-end="none"/>']  # fmt: skip
    chord = f"<harmony {both()}><root><root-step {both()}>C</root-step></root>"
    chord += f"<kind {both()} text='maj'>major</kind></harmony>"
    first = "".join(map(direction, signs)) + chord + notes + "".join(map(direction, ends))
    volta = f'<barline location="left"><bar-style {colour()}>heavy-light</bar-style>'
    volta += f'<ending number="1" type="start" {both()}>'
    volta += (
        f'1. url({EVIL})</ending></barline>{FOUR}<barline location="right"><ending number="1" type="stop"/></barline>'
    )
    text = musicxml([bar(first, 1, attributes), bar(volta, 2)])
    credits = CREDIT.format(f'<credit-image source="{EVIL}b.png" type="image/png"/>')
    credits += CREDIT.format(f"<credit-words {both()} default-x='10' default-y='10'>{said}</credit-words>")
    links = f'xmlns:xlink="http://www.w3.org/1999/xlink"><work><work-title>{said}</work-title></work>{credits}'
    return text.replace("<score-partwise>", f"<score-partwise {links}", 1).replace(
        "<part-name>", f"<part-name {both()}>"
    )


def judge_asks_for_nothing(root: Element) -> None:
    for element in root.iter():
        assert element.tag.rpartition("}")[2] not in ("a", "image", "script", "foreignObject", "animate", "set"), (
            element.tag
        )
        for key, value in element.attrib.items():
            assert "url(" not in value.lower() and "//" not in value and "@" not in value, (element.tag, key, value)
            assert not key.endswith("href") or value.startswith("#")
            assert not key.endswith("style") or re.fullmatch("[a-z]+", value)
            assert key != "font-family" or value == "Leipzig"


def test_nothing_that_a_score_says_asks_the_network(tmp_path):
    engraver = engraver_of(tmp_path, hostile_piece())
    raw = "".join(engraver._pages(1000))
    assert raw.count(f"url({EVIL}") > 10  # what the reader lets pass, the engraver does as well
    engraving = engraver.engrave(1000)
    judge_asks_for_nothing(fromstring(f"<defs>{engraving.definitions}</defs>"))
    for system in systems_after(engraving):
        judge_asks_for_nothing(system)
    words = "".join(text for system in systems_after(engraving) for text in system.itertext())
    assert "@import url(" in words  # as letters


def hostile_sheet(folder: Path) -> Sheet:
    (folder / "score.musicxml").write_text(hostile_piece(), encoding="utf-8")
    (folder / "plan.yaml").write_text(f"score: score.musicxml\ntitle: 'url({EVIL})'\n", encoding="utf-8")
    sheet = make_sheet(load(folder / "plan.yaml"), ())
    assert sheet.refusal is None
    return sheet


def test_nothing_in_a_whole_sheet_asks_for_anything_but_itself(tmp_path):
    (file,) = write_sheet(hostile_sheet(tmp_path), tmp_path / "made.svg")
    root = fromstring(file.read_text(encoding="utf-8"))
    style = root.find("{http://www.w3.org/2000/svg}style")
    assert set(re.findall(r"url\((.{0,5})", style.text)) == {"data:"} and "@import" not in style.text
    judge_asks_for_nothing(root)


def test_a_browser_that_opens_it_asks_for_the_file_alone(browser, tmp_path):
    (file,) = write_sheet(hostile_sheet(tmp_path), tmp_path / "made.svg")
    asked: list[str] = []
    with browser.new_page() as page:
        page.on("request", lambda request: asked.append(request.url))
        page.goto(file.as_uri())
        page.screenshot()  # what is not drawn is not asked for
    assert [url for url in asked if not url.startswith("data:")] == [file.as_uri()]


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler's tools are not installed")
def test_a_pdf_of_it_has_no_links_and_a_picture_is_made(tmp_path):
    sheet = hostile_sheet(tmp_path)
    (pdf,) = write_sheet(sheet, tmp_path / "made.pdf")
    assert b"/URI" not in pdf.read_bytes() and b"/Launch" not in pdf.read_bytes()
    listed = subprocess.run(["pdfimages", "-list", str(pdf)], capture_output=True, text=True, check=True).stdout
    assert len(listed.splitlines()) == 2  # the heading alone
    (png,) = write_sheet(sheet, tmp_path / "made.png")
    assert png.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(("said", "drawn"), [
    ("#a01020", "#a01020"), ("#80A01020", "#A0102080"), ("#FF000000", "#000000FF"), ("red", "red"),
    ("rgb(1, 2, 3)", "rgb(1, 2, 3)"),
    ("URL(x)", None), ("url(#a)", None), ("u\\72l(x)", None), ("var(--x)", None),
    ("red;stroke:url(x)", None), ("", None),
])  # fmt: skip
def test_colours_stay_in_the_form_that_a_drawing_knows(said, drawn):
    """MusicXML 4.0 (data type color) has the opacity before the colour, CSS Color 4 after it."""
    element = Element("g", {"color": said, "fill": said})
    clean(element)
    assert (element.get("color"), element.get("fill")) == (drawn, drawn)


@pytest.mark.parametrize("markup", [
    '<image href="#x"/>', '<a href="http://198.51.100.7/"><path d="M0 0"/></a>', "<script>1</script>",
    "<style>a{}</style>",
    '<foreignObject><p/></foreignObject>', '<animate attributeName="fill"/>', '<set attributeName="href" to="x"/>',
    '<use href="http://198.51.100.7/"/>', '<use href="//a#b"/>', '<path style="fill:url(x)"/>', '<path onload="x()"/>',
    '<path filter="url(x)"/>', '<path mask="url(x)"/>', '<path marker-end="url(x)"/>', '<path clip-path="url(x)"/>',
])  # fmt: skip
def test_what_is_no_drawing_is_taken_out(markup):
    element = fromstring(f"<g>{markup}</g>")
    clean(element)
    judge_asks_for_nothing(element)
    assert not [name for each in element.iter() for name in each.attrib]


def test_of_names_only_ours_stay_even_where_a_random_one_looks_like_them():
    line = '<g id="b1027935" class="barLine"><path d="M0 0 L0 720" /></g>'
    head = '<g id="n7" class="note"><path d="M0 0" /></g>'
    element = fromstring(f'<g id="q1" class="system"><g id="b3" class="measure">{line}{head}</g></g>')
    clean(element, "wide-")
    assert [each.get("id") for each in element.iter() if each.get("id")] == ["wide-b3", "wide-n7"]
