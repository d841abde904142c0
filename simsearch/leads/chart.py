"""A chart of date ranges on one shared time axis, as a standalone SVG picture.

Built to be read without colour: a firm end has a stroke across it, an end that is only "about"
fades out, a doubted end carries a question mark and an open end an arrow. Every range also
stands in words beside its bar, and the whole is repeated as text in the description for people
who do not see the picture.

The ink and the ground follow the reader's light or dark setting; a page that has its own
setting gives the CSS variables ``--date-chart-ink`` and ``--date-chart-ground``.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from xml.sax.saxutils import escape

from simsearch.leads.model import Lead
from simsearch.sets.dates import DateRange, year_words

# User units. The picture scales to the width it is given; it is drawn narrow so that its words
# can still be read on a phone, and grows no wider than _WIDEST pixels on a large screen.
WIDTH, SIDE, TOP, AXIS_HEIGHT = 520, 22, 8, 36
_ROW, _BAR = 48, 14
_WIDEST = 760
_LABEL_LETTERS = 60  # what fits into the width at the label's size
_MOST_TICKS = 7
_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000)
_FADE_YEARS = 25  # how far a soft end is drawn to either side; it only says "soft"
_INK, _DARK_INK, _GROUND, _DARK_GROUND = "#1c1c1c", "#f0f0f0", "#ffffff", "#161616"
# What XML 1.0 does not allow in a document, even escaped.
_NOT_XML = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Axis:
    """Maps astronomical years, first to last, to user units from left to right."""

    first: float
    last: float

    def x(self, year: float) -> float:
        """Return where a year stands."""
        inner = WIDTH - 2 * SIDE
        return round(SIDE + inner * (year - self.first) / (self.last - self.first), 2)


def leads_chart(leads: Sequence[Lead], *, today: int | None = None) -> str:
    """Draw the date ranges of leads, in their order; see ``date_chart``."""
    entries = [(f"{lead.rank}. {lead.type.name}", lead.type.dates) for lead in leads]
    return date_chart(entries, title="Date ranges of the leads", today=today)


def date_chart(
    entries: Sequence[tuple[str, DateRange]],
    *,
    title: str = "Date ranges",
    today: int | None = None,
) -> str:
    """Draw labelled date ranges on one time axis and return the SVG document as text.

    Open ends run to ``today``, an astronomical year (default: this year). With no entries the
    picture says that there are none.
    """
    year = date.today().year if today is None else today
    axis = axis_of([dates for _, dates in entries], year)
    height = TOP + _ROW * max(len(entries), 1) + AXIS_HEIGHT
    texts = [f"{label}: {dates.words()}" for label, dates in entries] or ["No dates to show."]
    key = picture_key(title, *texts)
    body = [_row(key, number, entry, axis, year) for number, entry in enumerate(entries)]
    if not entries:
        body = [f'<text class="label" x="{SIDE}" y="{TOP + 16}">{texts[0]}</text>']
    grid = grid_lines(axis, height) if entries else []
    return picture(key, title, "; ".join(texts), height, [*grid, *body])


def picture_key(*texts: str) -> str:
    """Return a key for the ids of a picture, so that two on one page do not clash."""
    return "dc" + hashlib.sha256("\n".join(texts).encode("utf-8", "replace")).hexdigest()[:8]


def picture(key: str, title: str, description: str, height: int, body: Sequence[str]) -> str:
    """Return a whole SVG document in the style of the charts of dates.

    ``description`` says in words all that the picture shows, for those who do not see it.
    """
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" class="date-chart" role="img" '
            f'viewBox="0 0 {WIDTH} {height}" width="100%" style="max-width:{_WIDEST}px" '
            f'aria-labelledby="{key}-title {key}-desc" font-family="sans-serif">',
            f'<title id="{key}-title">{xml_text(title)}</title>',
            f'<desc id="{key}-desc">{xml_text(description)}</desc>',
            _style(),
            f'<rect class="ground" width="{WIDTH}" height="{height}"/>',
            *body,
            "</svg>",
        ]
    )


def xml_text(value: str) -> str:
    """Return text as it may stand in the document."""
    return escape(_NOT_XML.sub(" ", value), {'"': "&quot;"})


def _shortened(label: str, words: str) -> str:
    """Keep the dates whole and cut the name where both do not fit on the line."""
    room = max(_LABEL_LETTERS - len(words) - 2, 12)
    return label if len(label) <= room else label[: room - 1].rstrip() + "…"


def _style() -> str:
    def rules(ink: str, ground: str) -> str:
        ink, ground = f"var(--date-chart-ink, {ink})", f"var(--date-chart-ground, {ground})"
        return (
            f".date-chart .ground{{fill:{ground}}}"
            f".date-chart text,.date-chart .bar{{fill:{ink}}}"
            # A rim in the colour of the ground keeps words clear of the lines behind them.
            f".date-chart text{{paint-order:stroke;stroke:{ground};stroke-width:4px}}"
            f".date-chart stop{{stop-color:{ink}}}"
            f".date-chart .end{{stroke:{ink};stroke-width:3;fill:none}}"
            f".date-chart .grid{{stroke:{ink};stroke-width:1;stroke-opacity:.3}}"
            f".date-chart .turn{{stroke-opacity:.8;stroke-dasharray:4 4}}"
        )

    sizes = ".date-chart .label{font-size:16px}.date-chart .tick{font-size:14px}"
    dark = f"@media (prefers-color-scheme:dark){{{rules(_DARK_INK, _DARK_GROUND)}}}"
    return f"<style>{sizes}{rules(_INK, _GROUND)}{dark}</style>"


def _spread(dates: DateRange, today: int) -> tuple[float, float]:
    """Return the first and last year drawn, with soft ends and without the run of open ends."""
    fade = _fade(dates, today)
    known = [end for end in (dates.earliest, dates.latest) if end is not None]
    first = dates.earliest if dates.earliest is not None else min(known) - 50
    last = dates.latest if dates.latest is not None else max(today, *known)
    return (
        first - (fade if dates.earliest_circa else 0),
        last + (fade if dates.latest_circa else 0),
    )


def _fade(dates: DateRange, today: int) -> float:
    first = dates.earliest if dates.earliest is not None else dates.latest
    last = dates.latest if dates.latest is not None else today
    length = abs(last - (first if first is not None else last))
    return min(_FADE_YEARS, length / 4) if length else _FADE_YEARS


def axis_of(ranges: Sequence[DateRange], today: int) -> Axis:
    """Return the axis on which all of these ranges fit; open ends run to ``today``."""
    spreads = [_spread(dates, today) for dates in ranges] or [(0.0, 100.0)]
    first, last = min(low for low, _ in spreads), max(high for _, high in spreads)
    margin = max((last - first) * 0.04, 5)
    return Axis(first - margin, last + margin)


def _ticks(axis: Axis) -> list[int]:
    """Return round years as people count them: 100 BC, AD 1, AD 100; astronomical years."""
    span = axis.last - axis.first
    step = next((step for step in _STEPS if span / step <= _MOST_TICKS), _STEPS[-1])
    highest = int(max(abs(axis.first), abs(axis.last)) // step) + 2
    rounds = [number * step for number in range(1, highest)]
    years = [1 - number for number in reversed(rounds)] + [1] + [n for n in rounds if n > 1]
    return [year for year in years if axis.first <= year <= axis.last]


def grid_lines(axis: Axis, height: int) -> list[str]:
    """Draw the years along the foot of a picture of this height and a line up from each."""
    bottom = height - AXIS_HEIGHT
    lines = []
    for year in _ticks(axis):
        x = axis.x(year)
        turn = " turn" if year == 1 else ""
        lines.append(f'<path class="grid{turn}" d="M{x} {TOP}V{bottom + 6}"/>')
        # The outermost labels stay inside the picture.
        place = min(max(x, SIDE + 8), WIDTH - SIDE - 8)
        lines.append(
            f'<text class="tick" x="{place}" y="{bottom + 24}" text-anchor="middle">'
            f"{year_words(year)}</text>"
        )
    return lines


def _row(key: str, number: int, entry: tuple[str, DateRange], axis: Axis, today: int) -> str:
    label, dates = entry
    top = TOP + _ROW * number
    words = dates.words()
    first, last = _spread(dates, today)
    left, right = axis.x(first), max(axis.x(last), axis.x(first) + 3)
    fill, gradient = _fill(f"{key}-{number}", dates, axis, left, right)
    y = top + 24
    parts = [
        f"<g><title>{xml_text(f'{label}: {words}')}</title>{gradient}",
        f'<text class="label" x="{SIDE}" y="{top + 16}">'
        f"{xml_text(_shortened(label, words))}: {words}</text>",
        f'<rect class="bar" x="{left}" y="{y}" width="{round(right - left, 2)}" '
        f'height="{_BAR}"{fill}/>',
        _end(left, y, -1, dates.earliest, dates.earliest_circa, dates.earliest_uncertain),
        _end(right, y, 1, dates.latest, dates.latest_circa, dates.latest_uncertain),
        "</g>",
    ]
    return "".join(parts)


def _fill(key: str, dates: DateRange, axis: Axis, left: float, right: float) -> tuple[str, str]:
    """Return the bar's fill attribute and the gradient it needs, both empty for firm ends."""
    if not (dates.earliest_circa or dates.latest_circa):
        return "", ""
    width = right - left

    def share(year: int | None, circa: bool, edge: float) -> float:
        # A soft end fades over as much inside its year as it is drawn outside of it.
        return min(2 * abs(axis.x(year) - edge) / width, 0.5) if circa and year is not None else 0.0

    start = share(dates.earliest, dates.earliest_circa, left)
    end = 1 - share(dates.latest, dates.latest_circa, right)
    stops = [(0.0, 0.05 if start else 1.0), (start, 1.0), (end, 1.0), (1.0, 0.05 if end < 1 else 1)]
    lines = "".join(
        f'<stop offset="{offset:.4f}" stop-opacity="{opacity}"/>' for offset, opacity in stops
    )
    return f' style="fill:url(#{key})"', f'<linearGradient id="{key}">{lines}</linearGradient>'


def _end(x: float, y: float, side: int, year: int | None, circa: bool, uncertain: bool) -> str:
    """Draw one end of a bar; ``side`` is -1 for the left end and 1 for the right."""
    middle = y + _BAR / 2
    if year is None:
        tip, root = x + side * 12, x + side * 2
        return f'<path class="end" d="M{root} {middle - 7}L{tip} {middle}L{root} {middle + 7}"/>'
    drawn = "" if circa else f'<path class="end" d="M{x} {y - 3}V{y + _BAR + 3}"/>'
    if uncertain:
        anchor = "end" if side < 0 else "start"
        place = f'x="{x + side * 5}" y="{middle + 6}" text-anchor="{anchor}"'
        drawn += f'<text class="label" {place}>?</text>'
    return drawn
