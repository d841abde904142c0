"""Keep exact findspots out of text that goes on paper.

A findspot field is made coarse by the register. But people also write references into notes,
titles and captions. Everything on a sheet passes through here: references finer than 1 km, degrees
finer than about 100 m, and the find's own place however it is spaced are left out, visibly.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from simsearch.errors import SimsearchError
from simsearch.register.grid import (
    COARSE_M,
    DEGREES,
    GRID_GB,
    GRID_IRELAND,
    WORDS,
    Findspot,
    read_reference,
)

LEFT_OUT = "[place left out]"
_GRID = re.compile(r"(?<![A-Za-z0-9])([A-HJ-Z]{1,2})\s?(\d{3,5})([\s,./-]{0,3})(\d{3,5})(?!\d)")
_RUN = re.compile(r"(?<![A-Za-z0-9])([A-HJ-Z]{1,2})\s?(\d{6}|\d{8}|\d{10})(?!\d)")
_NUMBER = r"[-+]?\d{1,3}[.,]\d{3,}"
_DEGREES = re.compile(rf"(?<![\d.,]){_NUMBER}\D{{1,15}}{_NUMBER}(?!\d)")
_MINUTES = re.compile(
    r"\d{1,3}\s*[°º]\s*\d{1,2}(?:[.,]\d+)?\s*['′’](?:\s*\d{1,2}(?:[.,]\d+)?\s*(?:[\"″”]|''))?"
    r"\s*[NSEW]?"
)
_ALL_FIGURES = re.compile(r"(?<!\d)(\d{6})[\s,/]{1,3}(\d{6,7})(?!\d)")
_SHORTEST_WORDS = 4  # letters; less would also be found inside ordinary talk


def withholder(spot: Findspot | None) -> Callable[[str], str]:
    """Return a function that leaves places finer than 1 km out of a text."""
    own = tuple(_own(spot)) if spot is not None else ()

    def leave_out(text: str) -> str:
        for pattern in own:
            text = pattern.sub(LEFT_OUT, text)
        text = _GRID.sub(_if_fine, text)
        text = _RUN.sub(_if_fine, text)
        for pattern in (_DEGREES, _MINUTES, _ALL_FIGURES):
            text = pattern.sub(LEFT_OUT, text)
        return text

    return leave_out


def _if_fine(found: re.Match[str]) -> str:
    letters = found[1]
    reference = letters + "".join(figure for figure in found[0][len(letters) :] if figure.isdigit())
    try:
        square = read_reference(reference, GRID_GB if len(letters) == 2 else GRID_IRELAND)
    except SimsearchError:
        return found[0]
    return LEFT_OUT if square.side_m < COARSE_M else found[0]


def _own(spot: Findspot) -> Iterator[re.Pattern[str]]:
    """The find's own place as it may be written in other words of the record."""
    if spot.kind == WORDS:
        yield from _own_words(spot)
        return
    yield _loosely(spot.value)
    if spot.kind == DEGREES:
        for number in re.findall(r"\d+[.,]\d{2,}", spot.value):
            yield re.compile(rf"(?<!\d){number[:-1].replace('.', '[.,]')}\d*")
        return
    try:
        square = read_reference(spot.value, spot.kind)
    except SimsearchError:
        return
    letters, east, north = square.text().split()
    for figures in range(len(east), 2, -1):
        yield _loosely(letters + east[:figures] + north[:figures])
    if len(east) > 3:  # the figures alone, finer than 100 m
        yield _loosely(east + north)
    yield _loosely(f"{square.easting:06d}{square.northing:06d}")


def _own_words(spot: Findspot) -> Iterator[re.Pattern[str]]:
    shown = spot.words.casefold()
    for part in (spot.value, *re.split(r"[,;\n]", spot.value)):
        words = part.split()
        said = " ".join(words)
        if len(said) >= _SHORTEST_WORDS and said.casefold() not in shown:
            joined = r"\W*".join(re.escape(word) for word in words)
            yield re.compile(rf"(?<!\w){joined}(?!\w)", re.IGNORECASE)


def _loosely(value: str) -> re.Pattern[str]:
    """The letters and figures of ``value`` in order, with any spacing, in any case."""
    signs = [re.escape(sign) for sign in value if sign.isalnum()]
    return re.compile(
        r"(?<![A-Za-z0-9])" + r"[^A-Za-z0-9\n]{0,3}".join(signs) + r"(?!\d)", re.IGNORECASE
    )
