"""Plans in every layout that YAML has for them, with comments everywhere, and the data that they hold."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import strategies as st

VALUES = st.sampled_from(
    ["7:2", "7:2 - 8:3", "80%", "a tempo", "3", "0.2", "yes", "'24:3'", '"a, b"', "'#1'", "Prélude 🎼", "after 16:3"]
)
KEYS = ("fermata", "breath", "length", "why", "in time", "pass")
SECTIONS = ("holds", "slowing", "second time", "accents")
ENTRIES = st.dictionaries(st.sampled_from(KEYS), VALUES, min_size=1, max_size=4)


@dataclass
class Page:
    """A plan that is being written."""

    draw: object
    newline: str
    text: str = ""
    comments: dict[str, int | None] = field(default_factory=dict)  # with the number of its entry
    places: list[tuple[str, int, int, int]] = field(default_factory=list)  # section, row, line, column

    def write(self, text: str) -> None:
        self.text += text

    def comment(self, indent: str, entry: int | None = None) -> None:
        """Perhaps a comment at the end of the line, and the line's end."""
        if self.draw(st.booleans()):
            word = f"# c{len(self.comments)} [,]{{:}}"
            self.comments[word] = entry
            self.write(f"{indent}{word}")
        self.write(self.newline)

    def between(self, indent: str) -> None:
        """Perhaps blank lines and comments on lines of their own."""
        for kind in self.draw(st.lists(st.sampled_from(["", "#"]), max_size=2)):
            if kind:
                word = f"# c{len(self.comments)} - {{a: b}}"
                self.comments[word] = None
                self.write(indent + word)
            self.write(self.newline)

    def begin_entry(self, section: str, row: int) -> None:
        lines = self.text.split(self.newline)
        self.places.append((section, row, len(lines), len(lines[-1]) + 1))


def _flow(entry: dict[str, str], space: str) -> str:
    return "{" + f",{space}".join(f"{key}: {value}" for key, value in entry.items()) + "}"


def _write_dashed(page: Page, section: str, entries: list[dict[str, str]], indent: str, gap: str) -> None:
    page.write(f"{section}:")
    page.comment("  ")
    for row, entry in enumerate(entries):
        page.between(indent)
        page.write(f"{indent}-{gap}")
        page.begin_entry(section, row)
        number = len(page.places) - 1
        if page.draw(st.booleans()):
            page.write(_flow(entry, page.draw(st.sampled_from([" ", "  "]))))
            page.comment("  ", number)
            continue
        for n, (key, value) in enumerate(entry.items()):
            page.write(("" if n == 0 else indent + " " + " " * len(gap)) + f"{key}: {value}")
            page.comment(" ", number)


def _write_bracketed(page: Page, section: str, entries: list[dict[str, str]]) -> None:
    own_lines, trailing = page.draw(st.booleans()), page.draw(st.booleans())
    page.write(f"{section}: [")
    for row, entry in enumerate(entries):
        if own_lines:
            page.comment(" ", len(page.places) - 1 if row else None)
            page.write("   ")
        page.begin_entry(section, row)
        page.write(_flow(entry, " "))
        last = row == len(entries) - 1
        page.write("" if last and not trailing else "," if last or own_lines else ", ")
    if own_lines:
        page.comment(" ", len(page.places) - 1)
    page.write("]")
    page.comment("  ")


@st.composite
def plans(draw) -> tuple[Page, dict[str, list[dict[str, str]]]]:
    """A page and the entries of its sections, each value as it is written."""
    page = Page(draw, draw(st.sampled_from(["\n", "\r\n", "\r"])))
    some = st.dictionaries(st.sampled_from(SECTIONS), st.lists(ENTRIES, max_size=3), min_size=1)
    sections = draw(some.filter(lambda found: any(found.values())))
    page.between("")
    page.write("score: x")
    page.comment(" ")
    for section, entries in sections.items():
        page.between("")
        style = draw(st.sampled_from(["dashes", "brackets"]))
        if style == "dashes":
            indent, gap = draw(st.sampled_from(["", "  ", "    "])), draw(st.sampled_from([" ", "   "]))
            _write_dashed(page, section, entries, indent, gap)
        else:
            _write_bracketed(page, section, entries)
    page.between("")
    if draw(st.booleans()):
        page.text = page.text.removesuffix(page.newline)
    return page, sections
