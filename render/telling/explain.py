"""The pages of the codes in remarks: what is told, why it matters, from when on, and what mends it.

One source, the list of rules, gives what `lentando explain` prints and a section of the handbook. To bring the handbook
up to date after a rule has changed:

    python -c "from render.telling.explain import renew; renew('plans/README.md')"
"""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.markdown import Markdown
from rich.table import Table
from rich.text import Text

from timing.cautions import RULES  # which loads all rules
from timing.cautions.rules import Rule
from timing.plan.words import nearest
from timing.remarks import CannotDo

_NOT_MENDED = "It takes a musician to decide what mends it."

# The handbook has the pages between these comments.
BEGIN, END = "<!-- made from the list of rules by render/telling/explain.py: begin -->", "<!-- end -->"


def by_code() -> list[Rule]:
    """All rules and other codes, sorted by their codes."""
    return sorted(RULES, key=lambda rule: rule.code)


def find(code: str) -> Rule:
    """The rule of a code. CannotDo names the nearest one if there is none."""
    known = {rule.code: rule for rule in RULES}
    wanted = code.strip().strip("[]").lower()
    if wanted in known:
        return known[wanted]
    near = nearest(wanted, known)
    hint = f"did you mean {near}?" if near else "'lentando explain' lists them all"
    raise CannotDo.because("no-code", f"nothing is told by the code {code[:60]!r}: {hint}")


def page(rule: Rule) -> str:
    """The page of a code, in Markdown."""
    mends = f"`lentando check --fix-code {rule.code}` {rule.mends}." if rule.mends else _NOT_MENDED
    told = f"- *Told when:* {_ended(rule.threshold)}\n- *From:* {_ended(rule.source)}\n- {mends}"
    shown = f"This plan is told so:\n\n```yaml\n{rule.example.strip()}\n```"
    example = shown if rule.example.startswith("score:") else f"*Example:* {_plain(rule.example)}"
    asked = f"\n{rule.asks}\n" if rule.asks else ""
    return f"### {rule.code}\n\n{_plain(rule.why)}\n\n{told}\n\n{example}\n{asked}"


def _ended(text: str) -> str:
    return _plain(text if text.endswith((".", ")")) else f"{text}.")


def _plain(text: str) -> str:
    """Text in which Markdown finds no tags."""
    return text.replace("<", "\\<")


def pages() -> str:
    """All pages one after another, in Markdown."""
    return "\n".join(page(rule) for rule in by_code())


def renew(handbook: str | Path) -> None:
    """Put the pages into a handbook, between its two comments."""
    handbook = Path(handbook)
    before, _, rest = handbook.read_text(encoding="utf-8").partition(BEGIN)
    handbook.write_text(f"{before}{BEGIN}\n\n{pages()}\n{END}{rest.partition(END)[2]}", encoding="utf-8")


def show_page(console: Console, code: str) -> None:
    """Print the page of a code."""
    console.print(Markdown(page(find(code)), code_theme="ansi_light"), soft_wrap=False)


def show_codes(console: Console) -> None:
    """Print all codes, each with why it matters."""
    table = Table(box=None, pad_edge=False, show_header=False)
    for rule in by_code():
        table.add_row(Text(rule.code, style="bold"), rule.why)
    console.print(table, soft_wrap=False)
