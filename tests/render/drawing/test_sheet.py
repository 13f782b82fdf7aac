"""The sheet as pages and as files, read by others: poppler for PDF, fontTools for the letters in SVG."""

from __future__ import annotations

import base64
import io
import re
import shutil
import struct
import subprocess
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree.ElementTree import fromstring

import pytest
from drawings import boxes, parsed
from house import DEMOS
from support import musicxml, reading, score

from render.drawing.printing import STAND_IN, letters_of, missing_letters, sheet_pdf, sheet_pngs, sheet_svgs
from render.drawing.sheet import make_sheet
from render.drawing.sheet_files import sheet_files, write_sheet
from soundfonts import guitar
from timing.cautions import check
from timing.loading import load
from timing.remarks import CannotDo

SIZES = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}  # ISO 216; ANSI/ASME Y14.1 A: in points
POPPLER = pytest.mark.skipif(shutil.which("pdftoppm") is None, reason="poppler's tools are not installed")
SVG = "{http://www.w3.org/2000/svg}"


@cache
def sheet_of(plan: Path, **options):
    made = load(plan)
    return make_sheet(made, check(made, sound=guitar), name=plan.name, **options)


def plan_in(folder: Path, text: str, bars: int = 8) -> Path:
    (folder / "piece.musicxml").write_text(musicxml(bars), encoding="utf-8")
    path = folder / "plan.yaml"
    path.write_text("score: piece.musicxml\ntempo: 60\n" + text, encoding="utf-8")
    return path


def told(*command: object) -> str:
    return subprocess.run([str(word) for word in command], capture_output=True, text=True, check=True).stdout


@pytest.mark.parametrize("paper", list(SIZES))
@pytest.mark.parametrize("plan", DEMOS, ids=lambda plan: plan.stem)
def test_pages_hold_their_words_apart_and_in_the_margins(plan, paper):
    for curves in (False, True):
        sheet = sheet_of(plan, paper=paper, curves=curves)
        assert len(sheet.pages) >= 1 and sheet.refusal is None
        for page in sheet.pages:
            stand = boxes(parsed(page))
            assert not [(a.words, b.words) for a, b in combinations(stand, 2) if a.meets(b)]
            assert all(box.left > 30 and box.right < sheet.width - 30 for box in stand)
            assert all(box.top > 30 and box.bottom < sheet.height - 30 for box in stand)


@pytest.mark.parametrize("plan", DEMOS, ids=lambda plan: plan.stem)
def test_every_notehead_of_the_score_is_on_a_page(plan):
    sheet = sheet_of(plan)
    found = re.findall(r'id="n(\d+)"', "".join(sheet.pages))
    assert sorted(map(int, found)) == list(range(len(load(plan).score.heads)))


@POPPLER
@pytest.mark.parametrize("paper", list(SIZES))
def test_the_pdf_has_the_size_of_the_paper_and_all_pages(tmp_path, paper):
    sheet = sheet_of(DEMOS[0], paper=paper)
    write_sheet(sheet, tmp_path / "made.pdf")
    info = told("pdfinfo", tmp_path / "made.pdf")
    width, height = map(float, re.search(r"Page size: +([\d.]+) x ([\d.]+)", info).groups())
    assert (width, height) == pytest.approx(SIZES[paper], abs=0.6)
    assert int(re.search(r"Pages: +(\d+)", info)[1]) == len(sheet.pages) > 1
    assert re.search(r"Title: +(.*)", info)[1] == sheet.title


@POPPLER
def test_the_words_of_the_pdf_can_be_read_and_its_fonts_are_in_it(tmp_path):
    plan = next(plan for plan in DEMOS if "misplaced" in plan.name)
    write_sheet(sheet_of(plan), tmp_path / "made.pdf")
    words = " ".join(told("pdftotext", "-layout", tmp_path / "made.pdf", "-").split())
    for said in ("Low Water, Two Lamps", "with a misplaced rallentando", "the question", "gliss."):
        assert said in words
    assert re.search(r"1 ?/ ?2\b", words) and re.search(r"2 ?/ ?2\b", words)
    assert "the shift down from the seventh fret is hard" in words  # why
    assert "it may be heard as an ending" in words  # the caution
    fonts = told("pdffonts", tmp_path / "made.pdf").splitlines()[2:]
    names = {line.split()[0].split("+")[1] for line in fonts}
    assert {"SourceSerifPro-Regular", "SourceSerifPro-It", "Leipzig"} <= names
    assert all(line.split()[-5] == "yes" for line in fonts)  # embedded
    assert told("pdfimages", "-list", tmp_path / "made.pdf").count("\n") == 2  # no pictures: lines stay lines


@POPPLER
def test_there_is_ink_on_every_page_and_none_at_the_edges(tmp_path):
    sheet = sheet_of(DEMOS[0])
    write_sheet(sheet, tmp_path / "made.pdf")
    told("pdftoppm", "-r", "50", "-gray", tmp_path / "made.pdf", tmp_path / "page")
    pages = sorted(tmp_path.glob("page*.pgm"))
    assert len(pages) == len(sheet.pages)
    for page in pages:
        head, size, most, pixels = page.read_bytes().split(b"\n", 3)
        width, height = map(int, size.split())
        rows = [pixels[k * width : (k + 1) * width] for k in range(height)]
        assert (head, most) == (b"P5", b"255") and min(pixels) < 80
        edge = 12  # pixels: 6 mm
        assert set(b"".join(rows[:edge] + rows[-edge:])) == {255}
        assert all(set(row[:edge] + row[-edge:]) == {255} for row in rows)


def test_an_svg_carries_all_letters_that_it_uses_and_asks_for_nothing(tmp_path):
    from fontTools.ttLib import TTFont

    sheet = sheet_of(DEMOS[0])
    files = write_sheet(sheet, tmp_path / "made.svg")
    assert [file.name for file in files] == [f"made-{n + 1}.svg" for n in range(len(sheet.pages))]
    shapes: set[int] = set()
    for data in re.findall(r"base64,([A-Za-z0-9+/=]+)", files[0].read_text(encoding="utf-8")):
        shapes |= set(TTFont(io.BytesIO(base64.b64decode(data))).getBestCmap())
    assert {ord(letter) for letter in letters_of(sheet)} <= shapes
    for file in files:
        root = fromstring(file.read_text(encoding="utf-8"))
        assert root.tag == f"{SVG}svg" and root.get("width") == "210.00mm"
        assert not [each for each in root.iter() if each.tag in (f"{SVG}script", f"{SVG}image", f"{SVG}foreignObject")]
        links = {value for each in root.iter() for name, value in each.items() if name.endswith("href")}
        names = {each.get("id") for each in root.iter()}
        assert links and all(link[0] == "#" and link[1:] in names for link in links)
        assert not re.search(r"url\((?!data:)|@import|https?://(?!www\.w3\.org)", file.read_text(encoding="utf-8"))


def test_a_png_has_two_hundred_dots_an_inch(tmp_path):
    files = write_sheet(sheet_of(DEMOS[0]), tmp_path / "made.png")
    width, height = struct.unpack(">II", files[0].read_bytes()[16:24])  # PNG specification, IHDR
    assert (width, height) == pytest.approx((210 / 25.4 * 200, 297 / 25.4 * 200), abs=2)


def test_what_is_written_is_what_is_made_in_memory(tmp_path):
    sheet = sheet_of(DEMOS[0])
    assert len(sheet.pages) > 1
    svgs = [page.encode() for page in sheet_svgs(sheet)]
    made = {".svg": svgs, ".png": sheet_pngs(sheet), ".pdf": [sheet_pdf(sheet)]}
    for kind, contents in made.items():
        files = write_sheet(sheet, tmp_path / f"made{kind.upper()}")
        assert [without_dates(file.read_bytes()) for file in files] == list(map(without_dates, contents))


def without_dates(content: bytes) -> bytes:
    """A PDF says when it was made, and has a number of its own for that."""
    return re.sub(rb"D:\d+Z?|<xmp:\w+Date>.*?<|/ID ?\[.*?\]|<xmpMM:\w+ID>.*?<", b"", content)


def test_a_sheet_has_the_cautions_that_check_finds_unless_it_is_told_others():
    reading = load(next(plan for plan in DEMOS if "misplaced" in plan.name))
    assert make_sheet(reading).pages == make_sheet(reading, check(reading, sound=guitar)).pages
    assert make_sheet(reading).pages != make_sheet(reading, []).pages


def test_what_is_no_kind_of_sheet_is_refused(tmp_path):
    with pytest.raises(CannotDo, match=r"made\.bmp: the name must end in one of \.pdf, \.svg, \.png"):
        write_sheet(make_sheet(reading({}), [], curves=True), tmp_path / "made.bmp")
    assert list(tmp_path.iterdir()) == []


def test_one_page_is_one_file():
    sheet = make_sheet(reading({}), [], curves=True)
    assert len(sheet.pages) == 1
    assert sheet_files(sheet, Path("made.svg")) == [Path("made.svg")]


def test_of_several_files_all_are_written_or_none(tmp_path):
    sheet = sheet_of(DEMOS[0])
    (tmp_path / "made-2.svg").mkdir()
    with pytest.raises(CannotDo, match=r"made-2\.svg is a folder"):
        write_sheet(sheet, tmp_path / "made.svg")
    assert [each.name for each in tmp_path.iterdir()] == ["made-2.svg"]


def test_html_in_a_title_and_a_note_stays_text(tmp_path):
    hostile = "</title><script>alert(1)</script>&lt;"
    text = f"title: '{hostile}'\nslowing: [{{rallentando: 7-8, to: 70%, why: '{hostile}'}}]\n"
    sheet = sheet_of(plan_in(tmp_path, text))
    root = fromstring(write_sheet(sheet, tmp_path / "made.svg")[0].read_text(encoding="utf-8"))
    assert not [each for each in root.iter() if each.tag.endswith("script")]
    texts = ["".join(each.itertext()) for each in root.iter(f"{SVG}text")]
    assert root.find(f"{SVG}title").text == hostile and texts.count(hostile) >= 2
    assert write_sheet(sheet, tmp_path / "made.pdf")[0].read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    "title",
    ["月光の曲", "אור ירח", "ضوء القمر", "ดวงจันทร์", "🎹🌙", "a\\u202Eb", "e\\u0301", "#let x = 1 // $y$ \\u005c"],
)
def test_titles_in_any_script_are_drawn_or_stood_in_for(tmp_path, title):
    sheet = sheet_of(plan_in(tmp_path, f'title: "{title}"\n', bars=1))
    for kind in ("svg", "png", "pdf"):
        assert write_sheet(sheet, str(tmp_path / f"made.{kind}"))
    fromstring((tmp_path / "made.svg").read_text(encoding="utf-8"))
    assert set(missing_letters(sheet)) <= set(letters_of(sheet))


@POPPLER
def test_a_letter_that_no_font_has_is_told_and_leaves_the_others(tmp_path):
    letter = "\U0010fffd"  # of the private use area: Unicode gives it to nobody
    sheet = sheet_of(plan_in(tmp_path, 'title: "Moon \\U0010FFFD light"\n'))
    assert missing_letters(sheet) == letter
    write_sheet(sheet, tmp_path / "made.pdf")
    assert f"Moon {STAND_IN} light" in told("pdftotext", tmp_path / "made.pdf", "-")


def test_a_very_long_title_and_note_find_their_room(tmp_path):
    text = f"title: '{'W' * 200}'\nphrases: [{{bars: 1-8, why: '{'very long ' * 199}'}}]\n"
    sheet = sheet_of(plan_in(tmp_path, text))
    stand = boxes(parsed(sheet.pages[0]))
    assert all(box.right < sheet.width - 30 for box in stand)
    assert any(box.words.endswith("…") for box in stand)


def test_many_parts_are_drawn_smaller(tmp_path):
    part = '<part id="P{0}">' + re.search(r'<part id="P1">(.*)</part>', musicxml(4))[1] + "</part>"
    listed = "".join(f'<score-part id="P{n}"><part-name>Part {n}</part-name></score-part>' for n in range(40))
    text = "".join(part.format(n) for n in range(40))
    whole = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{text}</score-partwise>'
    plan = plan_in(tmp_path, "")
    (tmp_path / "piece.musicxml").write_text(whole, encoding="utf-8")
    sheet = sheet_of(plan)
    scales = [float(each) for each in re.findall(r'scale\(([\d.]+)\)"><g class="plot', "".join(sheet.pages))]
    assert sheet.refusal is None and scales and max(scales) < 0.5
    assert len(re.findall(r'id="n\d+"', "".join(sheet.pages))) == 40 * 16


def test_what_the_engraver_refuses_is_drawn_as_bars(monkeypatch):
    from render.drawing import engraver

    def refuse(score):
        raise CannotDo.because("not-engraved", "it cannot be engraved")

    monkeypatch.setattr(engraver, "Engraver", refuse)
    sheet = make_sheet(reading({"slowing": [{"rallentando": "7-8", "to": "70%"}]}), [])
    assert sheet.refusal.code == "not-engraved"
    assert "rall." in sheet.pages[0] and 'class="barline"' in sheet.pages[0]


def test_a_score_without_any_note_has_its_bars():
    sheet = make_sheet(reading({}, score(voices={1: "r:4"})), [], curves=True)
    numbers = [box.words for box in boxes(parsed(sheet.pages[0]))]
    assert sheet.pages[0].count('class="curve') >= 1 and len(numbers) > 2


def test_how_far_it_is_is_told():
    seen = []
    sheet = make_sheet(reading({}, score(60)), [], curves=True, progress=lambda done, total: seen.append((done, total)))
    assert len(sheet.pages) >= 1 and seen[-1][0] == seen[-1][1] == len(seen)
