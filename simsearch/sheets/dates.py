"""Date ranges on one axis, for paper: read without colour, every range in words beside its bar."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.colors import Color, black
from reportlab.platypus import Flowable

from simsearch.leads.chart import Axis, axis_of
from simsearch.sets.dates import DateRange, year_words
from simsearch.sheets import styles
from simsearch.sheets.fonts import REGULAR, fitted, readable

KEY = (
    "A stroke ends a bar at a firm year; a bar fades where the year is only about; an arrow is an "
    "open end; ? marks a doubted year."
)
_ROW, _BAR, _AXIS, _TOP = 30.0, 8.0, 22.0, 4.0
_SIDE = 16.0
_SIZE = 8.5
_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000, 2000)
_MOST_TICKS = 8
_SOFT_YEARS, _SHADES = 25, 6


class DateChart(Flowable):
    """Labelled date ranges below one another; open ends run to the astronomical year ``today``."""

    def __init__(
        self, entries: Sequence[tuple[str, DateRange]], today: int, width: float = styles.WIDTH
    ) -> None:
        super().__init__()
        self._entries, self._today = list(entries), today
        self._axis = axis_of([dates for _, dates in entries], today)
        self.width = width
        self.height = _TOP + _ROW * len(self._entries) + _AXIS

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        return self.width, self.height

    def draw(self) -> None:
        self._grid()
        for number, (label, dates) in enumerate(self._entries):
            self._row(self.height - _TOP - _ROW * number, label, dates)

    def _x(self, year: float) -> float:
        inner = self.width - 2 * _SIDE
        share = (year - self._axis.first) / (self._axis.last - self._axis.first)
        return _SIDE + inner * min(max(share, 0.0), 1.0)

    def _grid(self) -> None:
        canvas = self.canv
        canvas.setFont(REGULAR, 7.5)
        for year in ticks(self._axis):
            x = self._x(year)
            canvas.setStrokeColor(styles.GREY if year == 1 else styles.PALE)
            canvas.setLineWidth(0.5)
            canvas.line(x, _AXIS - 4, x, self.height - _TOP)
            canvas.setFillColor(black)
            canvas.drawCentredString(min(max(x, 18), self.width - 18), _AXIS - 14, year_words(year))

    def _row(self, top: float, label: str, dates: DateRange) -> None:
        canvas = self.canv
        words = f": {dates.words()}"
        room = self.width - canvas.stringWidth(words, REGULAR, _SIZE) - 8
        name = fitted(readable(label), REGULAR, _SIZE, room)
        # The words stand on white, clear of the lines behind them.
        said = canvas.stringWidth(name + words, REGULAR, _SIZE)
        canvas.setFillColor(Color(1, 1, 1))
        canvas.rect(0, top - 11.5, said + 4, 11, stroke=0, fill=1)
        canvas.setFillColor(black)
        canvas.setFont(REGULAR, _SIZE)
        canvas.drawString(2, top - 9, name + words)
        self._bar(top - 13 - _BAR, dates)

    def _bar(self, y: float, dates: DateRange) -> None:
        canvas = self.canv
        soft = _soft(dates, self._today)
        first = self._axis.first if dates.earliest is None else dates.earliest
        last = self._today if dates.latest is None else dates.latest
        left = self._x(first + (soft if dates.earliest_circa else 0))
        right = self._x(last - (soft if dates.latest_circa else 0))
        canvas.setFillColor(black)
        canvas.rect(left, y, max(right - left, 1.5), _BAR, stroke=0, fill=1)
        if dates.earliest_circa:
            self._fade(self._x(first - soft), left, y, 1)
        if dates.latest_circa:
            self._fade(self._x(last + soft), max(right, left + 1.5), y, -1)
        ends = (
            (-1, dates.earliest, dates.earliest_circa, dates.earliest_uncertain, first - soft),
            (1, dates.latest, dates.latest_circa, dates.latest_uncertain, last + soft),
        )
        for side, year, circa, doubted, outer in ends:
            firm = first if side < 0 else last
            self._end(self._x(outer if circa else firm), y, side, year, circa, doubted)

    def _fade(self, outer: float, inner: float, y: float, side: int) -> None:
        """Grey that grows darker from the outer edge to the full bar."""
        step = (inner - outer) / _SHADES
        for number in range(_SHADES):
            grey = 0.94 - 0.94 * number / _SHADES
            self.canv.setFillColor(Color(grey, grey, grey))
            start = outer + number * step
            self.canv.rect(min(start, start + step), y, abs(step), _BAR, stroke=0, fill=1)
        self.canv.setFillColor(black)

    def _end(
        self, x: float, y: float, side: int, year: int | None, circa: bool, doubted: bool
    ) -> None:
        canvas, middle = self.canv, y + _BAR / 2
        canvas.setStrokeColor(black)
        canvas.setLineWidth(1.4)
        if year is None:
            for up in (-4, 4):
                canvas.line(x + side * 2, middle + up, x + side * 8, middle)
            return
        if not circa:
            canvas.line(x, y - 2, x, y + _BAR + 2)
        if doubted:
            canvas.setFont(REGULAR, _SIZE)
            canvas.drawCentredString(x + side * 6, y + 1, "?")


def _soft(dates: DateRange, today: int) -> float:
    """How far an end that is only "about" is drawn to either side; it only says "soft"."""
    first = dates.earliest if dates.earliest is not None else dates.latest
    last = dates.latest if dates.latest is not None else today
    length = abs(last - first) if first is not None else 0
    return min(_SOFT_YEARS, length / 4) if length else _SOFT_YEARS


def ticks(axis: Axis) -> list[int]:
    """Round years on an axis as people count them, astronomical: 100 BC, AD 1, AD 100."""
    span = axis.last - axis.first
    step = next((step for step in _STEPS if span / step <= _MOST_TICKS), _STEPS[-1])
    furthest = int(max(abs(axis.first), abs(axis.last)) // step) + 2
    rounds = [number * step for number in range(1, furthest)]
    years = {1, *(1 - number for number in rounds), *(number for number in rounds if number > 1)}
    return sorted(year for year in years if axis.first <= year <= axis.last)
