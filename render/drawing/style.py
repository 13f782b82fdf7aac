"""How a drawing looks: which class has which colour and weight. A page names its colours by CSS variables; a sheet has
them literally."""

from __future__ import annotations

from collections.abc import Callable

from render.drawing.engraver import STYLE
from render.drawing.fonts import MUSIC, WORDS
from render.drawing.lettering import MUSIC_SCALE

# On white paper: every colour has a contrast of 4.5 to 1 at least (WCAG 2.2, 1.4.3). The readings' colours are those of
# M. Okabe and K. Ito (Color Universal Design, 2002), darkened: told apart with any colour vision.
PAPER = {
    "ink": "#1c1a17",
    "faint": "#6f6a62",
    "paper": "#ffffff",
    "reading-a": "#0b5394",
    "reading-b": "#b3430a",
    "reading-c": "#00725a",
    "reading-d": "#8a3d7c",
}
LETTERS = "abcd"


def sheet_style() -> str:
    """The style of a drawing on white paper, with literal colours."""
    return drawing_style(lambda name: PAPER[name])


def page_style() -> str:
    """The same with the CSS variables --ink, --faint, --paper, --reading-a ..."""
    return drawing_style(lambda name: f"var(--{name})")


def drawing_style(colour: Callable[[str], str]) -> str:
    """The rules for all classes that a drawing has."""
    ink, faint = colour("ink"), colour("faint")
    rules = [
        f'text{{font-family:"{WORDS}",serif;fill:{ink}}}',
        f'.smufl{{font-family:"{MUSIC}";font-style:normal;font-weight:400;font-size:{MUSIC_SCALE:g}em}}',
        f".score{{color:{ink}}}",
        STYLE,
        f".reference{{stroke:{faint};stroke-width:.6;fill:none}}",
        f".axis,.tick{{stroke:{faint};stroke-width:.6;fill:none}}",
        f".barline{{stroke:{ink};stroke-width:1;fill:none}}",
        f".sheet{{fill:{colour('paper')}}}",
        f".faint,.legend,.tempo,.heard{{fill:{faint}}}",
        ".subtitle,.legend{font-style:italic}",
        f".number{{fill:{faint};font-size:10px}}",
        f".phrase path{{stroke:{ink};stroke-width:.8;fill:none}}",
        ".slowing text,.rubato text,.second-time text,.phrase text,.tone text,.slide text,.hairpin text,.times{"
        "font-style:italic}",
        "text.letter{font-style:normal;font-weight:600}",
        "text.comment-number,text.number,text.heard{font-style:normal}",
        ".caution-text,.caution text{font-weight:600}",
        f".caution path{{stroke:{ink};stroke-width:1;fill:none;stroke-linejoin:round}}",
        ".curve{fill:none;stroke-width:1.5;stroke-linejoin:round;stroke-linecap:round}",
        ".ribbon{stroke:none;opacity:.16}",
        ".swell{stroke:none;opacity:.22}",
        ".edge{fill:none;stroke-width:.7;stroke-linejoin:round}",
        ".extent{fill:none;stroke-width:.8}",
        ".dashed{stroke-dasharray:3 2.5}",
        ".pass2{stroke-dasharray:5 3}",
        ".pass3{stroke-dasharray:1.2 3}",
    ]
    rules += [
        ".many .ribbon,.many .swell{opacity:.1}",
        f".shared .extent{{stroke:{faint}}}",
    ]
    weights = dict(zip(LETTERS, (1.5, 1.9, 1.5, 1.9), strict=True))
    for letter in LETTERS:
        own = colour(f"reading-{letter}")
        rules += [
            f".reading.{letter} .curve{{stroke:{own};stroke-width:{weights[letter]:g}}}",
            f".reading.{letter} .edge,.reading.{letter} .extent,.many .phrase.reading.{letter} path{{stroke:{own}}}",
            f".reading.{letter} .ribbon,.reading.{letter} .swell,.many .reading.{letter} text{{fill:{own}}}",
        ]
    return "".join(rules)
