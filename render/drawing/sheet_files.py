"""A sheet as files, by the kind that their name ends in."""

from __future__ import annotations

from contextlib import ExitStack
from pathlib import Path

from render.drawing.printing import sheet_pdf, sheet_pngs, sheet_svgs
from render.drawing.sheet import Sheet
from render.files import written_whole
from render.kinds import PDF, SHEET, SVG, kind_of
from timing.remarks import CannotDo


def sheet_files(sheet: Sheet, path: Path) -> list[Path]:
    """The files that `write_sheet` writes: a PDF holds all pages, of SVG and PNG each page is a file."""
    if kind_of(path) == PDF or len(sheet.pages) == 1:
        return [path]
    return [path.with_name(f"{path.stem}-{number + 1}{path.suffix}") for number in range(len(sheet.pages))]


def refuse_kind(path: Path) -> None:
    """CannotDo for a file that is no kind of sheet."""
    if kind_of(path) not in SHEET:
        raise CannotDo.because("output-kind", f"{path}: the name must end in one of {', '.join(SHEET)}", path)


def write_sheet(sheet: Sheet, path: str | Path) -> list[Path]:
    """Write a sheet as .pdf, .svg or .png, all files or none. CannotDo for another kind, and where one cannot be
    written."""
    path = Path(path)
    refuse_kind(path)
    files = sheet_files(sheet, path)
    with ExitStack() as stack:
        targets = [stack.enter_context(written_whole(file)) for file in files]
        for target, content in zip(targets, _contents(sheet, kind_of(path)), strict=True):
            target.write_bytes(content)
    return files


def _contents(sheet: Sheet, kind: str) -> list[bytes]:
    if kind == SVG:
        return [page.encode() for page in sheet_svgs(sheet)]
    return [sheet_pdf(sheet)] if kind == PDF else sheet_pngs(sheet)
