"""The letters of the sheets: DejaVu Sans, embedded, so that a sheet looks the same everywhere.

The files come with matplotlib, whose package carries them with their licence (Bitstream Vera and
Arev, free to embed; the DejaVu changes are in the public domain). They are only read as files:
matplotlib itself is never imported. reportlab's own Vera lacks Welsh and most Central European
letters.
"""

from __future__ import annotations

import re
import unicodedata
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from simsearch.sheets.errors import SheetError

REGULAR, BOLD, ITALIC = "SheetSans", "SheetSans-Bold", "SheetSans-Italic"
_FILES = {
    REGULAR: "DejaVuSans.ttf",
    BOLD: "DejaVuSans-Bold.ttf",
    ITALIC: "DejaVuSans-Oblique.ttf",
}
REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
# Read from right to left or joined up: single glyphs side by side would be wrong, and look right.
_NOT_SET = ("R", "AL", "AN")
_LATIN_MARKS = range(0x300, 0x370)
_SPACES = re.compile(r"[^\S\n]")


def _folder() -> Path:
    found = find_spec("matplotlib")
    places = (found.submodule_search_locations if found is not None else None) or []
    for place in places:
        folder = Path(place) / "mpl-data" / "fonts" / "ttf"
        if all((folder / file).is_file() for file in _FILES.values()):
            return folder
    raise SheetError(
        "The letters for the sheets are missing: no DejaVu Sans in the package matplotlib.",
        hint="Install simsearch again, or install matplotlib.",
    )


@cache
def use_fonts() -> frozenset[int]:
    """Make the fonts known to reportlab, once; returns the code points that all of them have.

    Raises ``SheetError`` when the font files are not installed.
    """
    folder = _folder()
    have: list[frozenset[int]] = []
    for name, file in _FILES.items():
        font = TTFont(name, str(folder / file))
        pdfmetrics.registerFont(font)
        have.append(frozenset(font.face.charToGlyph))
    # Bold and slanted runs inside a paragraph are found by family.
    pdfmetrics.registerFontFamily(REGULAR, REGULAR, BOLD, ITALIC, BOLD)
    return frozenset.intersection(*have)


def readable(text: str) -> str:
    """Return text as it can be set: letters that cannot are replaced by one visible sign each.

    Line ends stay; tabs and other space become spaces; signs that are not seen are dropped.
    """
    have = use_fonts()
    lines = text.replace("\r\n", "\n").replace("\r", "\n")
    return "".join(_set(letter, have) for letter in unicodedata.normalize("NFC", lines))


def _set(letter: str, have: frozenset[int]) -> str:
    if letter == "\n":
        return letter
    if _SPACES.fullmatch(letter):
        return letter if letter == "\N{NO-BREAK SPACE}" else " "
    kind = unicodedata.category(letter)
    if kind in ("Cc", "Cf"):  # control signs, joiners, changes of direction
        return ""
    if kind in ("Mn", "Me", "Mc") and ord(letter) not in _LATIN_MARKS:
        return ""  # the letter that carries it is replaced already
    known = ord(letter) in have and ord(letter) <= 0xFFFF
    return letter if known and unicodedata.bidirectional(letter) not in _NOT_SET else REPLACEMENT


def shortened(text: str, most: int) -> str:
    """One line of at most ``most`` letters, with an ellipsis where something was left off."""
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"


def fitted(text: str, font: str, size: float, width: float) -> str:
    """One line cut to ``width`` points, with an ellipsis where something was left off."""
    line = shortened(text, 400)
    if pdfmetrics.stringWidth(line, font, size) <= width:
        return line
    while line and pdfmetrics.stringWidth(f"{line}…", font, size) > width:
        line = line[:-1]
    return f"{line.rstrip()}…"
