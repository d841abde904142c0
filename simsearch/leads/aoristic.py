"""Dating several types or finds together, by aoristic weights.

Each date range spreads its weight evenly over its years; the weights of all ranges are added up
in bins of the same width on one axis. The method is that of Ratcliffe, J. H. 2000, "Aoristic
analysis: the spatial interpretation of unspecific temporal events", International Journal of
Geographical Information Science 14(7), 669-679, brought to archaeology by Johnson, I. 2004,
"Aoristic analysis: seeds of a new approach to mapping archaeological distributions through time",
in CAA 2003 (BAR International Series 1227), 448-452 (both cited from memory).

Two things go beyond it. An end that is only "about" fades over the same years as in the date
chart instead of breaking off. An open end runs to today; an open start begins as many years
before its known end as the chart draws.

Weights say how the given ranges lie in time, no more: even weight within a range is an
assumption, and a type was seldom equally common in all its years.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from simsearch.leads.chart import (
    AXIS_HEIGHT,
    SIDE,
    TOP,
    axis_of,
    grid_lines,
    picture,
    picture_key,
    xml_text,
)
from simsearch.leads.rules import value
from simsearch.sets.dates import DateRange, year_words

if TYPE_CHECKING:
    from simsearch.leads.model import Leads

Doubles = NDArray[np.float64]

BIN_YEARS = 25
HALF = 0.5
MOST, WIDE_YEARS = 0.8, 300
"""Where even the shortest span with most of the weight is this long, the words say so: half the
weight can stand close together although a second lead lies a thousand years away."""
_BARS, _LABEL = 120, 30


@dataclass(frozen=True, eq=False)
class Aoristic:
    """Weight per bin of ``width`` years.

    Bin i covers the years ``first + i * width`` up to the one before the next bin; ``first`` is
    an astronomical year and bins start as people count, in AD 1, 26, 51 and 25 BC, 50 BC.
    ``weights`` (bins,) add up to ``total``, that of all ranges. ``note`` says what was added up.
    """

    first: int
    width: int
    weights: Doubles
    ranges: tuple[DateRange, ...]
    today: int
    note: str = ""

    @property
    def total(self) -> float:
        """The weight of all bins."""
        return float(self.weights.sum())

    def edges(self, start: int, stop: int) -> tuple[int, int]:
        """Return the first and last astronomical year of the bins from start up to stop."""
        return self.first + start * self.width, self.first + stop * self.width - 1


@dataclass(frozen=True)
class Span:
    """The shortest run of bins that holds a given share of the weight.

    ``earliest`` and ``latest`` are astronomical years; ``share`` is what it does hold, 0..1.
    """

    earliest: int
    latest: int
    share: float
    words: str


def year_weights(dates: DateRange, today: int | None = None) -> tuple[int, Doubles]:
    """Spread one over the years of a range: the first year and a weight per year.

    A firm range gives every one of its years the same.
    """
    earliest, latest = _closed(dates, _year(today))
    fade = _fade(latest - earliest)
    before = fade if dates.earliest_circa else 0.0
    after = fade if dates.latest_circa else 0.0
    years = np.arange(int(np.floor(earliest - before)), int(np.ceil(latest + after)) + 1)
    weights = np.ones(len(years))
    # The true end is anywhere within the fade to either side, so a year this far along it is
    # inside the range for this share of the true ends.
    if before:
        weights *= np.clip((years + 0.5 - (earliest - before)) / (2 * before), 0.0, 1.0)
    if after:
        weights *= np.clip((latest + after + 0.5 - years) / (2 * after), 0.0, 1.0)
    return int(years[0]), weights / weights.sum()


def share_between(dates: DateRange, first: float, last: float, today: int | None = None) -> float:
    """Return how much of a range's weight lies in the years first to last, both included."""
    start, weights = year_weights(dates, today)
    years = start + np.arange(len(weights))
    return float(weights[(years >= first) & (years <= last)].sum())


def aoristic(
    entries: Iterable[tuple[DateRange, float]],
    *,
    width: int = BIN_YEARS,
    today: int | None = None,
    note: str = "",
) -> Aoristic | None:
    """Add up weighted date ranges in bins of ``width`` years; ``None`` where nothing weighs.

    For a register give every find the weight 1, or what it should count.
    Raises ``ValueError`` for a weight below 0 or a width below 1.
    """
    year = _year(today)
    kept = [(dates, float(weight)) for dates, weight in entries]
    if width < 1 or any(not np.isfinite(weight) or weight < 0 for _, weight in kept):
        raise ValueError("weights must be 0 or more and bins at least a year wide")
    kept = [(dates, weight) for dates, weight in kept if weight > 0]
    if not kept:
        return None
    # The same range comes many times in a register; it is spread out once.
    by_range: dict[DateRange, float] = {}
    for dates, weight in kept:
        by_range[dates] = by_range.get(dates, 0.0) + weight
    spread = [(*year_weights(dates, year), weight) for dates, weight in by_range.items()]
    lowest = min(start for start, _, _ in spread)
    highest = max(start + len(weights) - 1 for start, weights, _ in spread)
    first = (lowest - 1) // width * width + 1
    bins = np.zeros((highest - first) // width + 1)
    for start, weights, weight in spread:
        at = (start - first + np.arange(len(weights))) // width
        np.add.at(bins, at, weight * weights)
    ranges = tuple(dates for dates, _ in kept)
    return Aoristic(first, width, bins, ranges, year, note)


def leads_dating(leads: Leads, *, today: int | None = None) -> Aoristic | None:
    """Date a find by its leads together, each weighing its odds.

    Without odds all leads weigh the same, which ``note`` says.
    """
    odds = [lead.odds for lead in leads.leads]
    known = [chance for chance in odds if chance is not None]
    if len(known) < len(odds):
        note = "Every lead counts the same here, because there are no odds."
        return aoristic(((lead.type.dates, 1.0) for lead in leads.leads), today=today, note=note)
    note = f"Each lead counts by its odds; those here hold {_in_100(sum(known))} of all odds."
    weighed = ((lead.type.dates, lead.odds or 0.0) for lead in leads.leads)
    return aoristic(weighed, today=today, note=note)


def likely_span(found: Aoristic, share: float = HALF) -> Span:
    """Return the shortest run of bins with at least ``share`` of the weight.

    Of runs of one length that with the most weight, then the earliest.
    """
    sums = np.concatenate([[0.0], np.cumsum(found.weights)])
    needed = share * found.total - 1e-9 * found.total
    best = (len(found.weights), -found.total, 0)
    for start in range(len(found.weights)):
        stop = int(np.searchsorted(sums, sums[start] + needed))
        if stop > len(found.weights):
            break
        best = min(best, (stop - start, -float(sums[stop] - sums[start]), start))
    count, weight, start = best
    earliest, latest = found.edges(start, start + count)
    return Span(earliest, latest, -weight / found.total, _span_words(found, earliest, latest))


def date_words(found: Aoristic | None, share: float = HALF) -> str:
    """Return the likely date as a sentence, with how much of the weight it holds.

    For example "Most likely c. AD 75-150 (54 in 100 of the weight)."
    """
    if found is None:
        return "No date can be given: there are no leads or dated finds."
    span = likely_span(found, share)
    said = f"Most likely {span.words} ({_in_100(span.share)} of the weight)."
    most = likely_span(found, MOST)
    if most.latest - most.earliest >= WIDE_YEARS:
        said += f" The dates spread widely: {_in_100(most.share)} lie in {most.words}."
    return said


def aoristic_chart(found: Aoristic | None, *, title: str = "Dates taken together") -> str:
    """Draw the weights as bars on the axis that ``date_chart`` gives the same ranges.

    A bracket above the bars marks the span named in words. Returns an SVG document.
    """
    words = date_words(found)
    key = picture_key("aoristic", title, words)
    # Only the first sentence fits above the bars; the description has all of it.
    shown = xml_text(words.partition(" The dates spread")[0])
    label = f'<text class="label" x="{SIDE}" y="{TOP + 16}">{shown}</text>'
    if found is None:
        return picture(key, title, words, TOP + _LABEL + AXIS_HEIGHT, [label])
    axis = axis_of(found.ranges, found.today)
    height = TOP + _LABEL + _BARS + AXIS_HEIGHT
    foot, most = TOP + _LABEL + _BARS, float(found.weights.max())
    bars = []
    for number, weight in enumerate(found.weights):
        first, last = found.edges(number, number + 1)
        # Bins reach a little beyond the ranges at both ends, where the axis may have stopped.
        left, right = (axis.x(min(max(y, axis.first), axis.last)) for y in (first, last + 1))
        tall = round((_BARS - 14) * float(weight) / most, 2)
        if tall > 0 and right > left:
            what = f"{_years(first, last)}: {_in_100(float(weight) / found.total)}"
            bars.append(
                f'<rect class="bar" x="{left}" y="{round(foot - tall, 2)}" '
                f'width="{round(right - left - 0.6, 2)}" height="{tall}">'
                f"<title>{xml_text(what)}</title></rect>"
            )
    span = likely_span(found)
    ends = (axis.x(max(span.earliest, axis.first)), axis.x(min(span.latest + 1, axis.last)))
    top = TOP + _LABEL
    bracket = f'<path class="end" d="M{ends[0]} {top + 6}V{top}H{ends[1]}V{top + 6}"/>'
    grid = grid_lines(axis, height)
    return picture(key, title, _described(found, words), height, [*grid, *bars, bracket, label])


def _described(found: Aoristic, words: str) -> str:
    """Say in words what the bars show, by centuries, without those that hold next to nothing."""
    parts = [words, found.note] if found.note else [words]
    years = found.first + found.width * np.arange(len(found.weights))
    century = (years - 1) // 100
    for number in np.unique(century):
        held = float(found.weights[century == number].sum()) / found.total
        if held >= 0.01:
            first = int(number) * 100 + 1
            parts.append(f"{_years(first, first + 99)}: {_in_100(held)}.")
    return " ".join(parts)


def _closed(dates: DateRange, today: int) -> tuple[int, int]:
    """Return both ends of a range, an open one put where the module says."""
    earliest, latest = dates.earliest, dates.latest
    if latest is None:
        latest = max(today, earliest if earliest is not None else today)
    if earliest is None:
        earliest = latest - int(value("open start"))
    return earliest, latest


def _fade(length: int) -> float:
    most = value("fade of circa")
    return min(most, length / 4) if length else most


def _year(today: int | None) -> int:
    return date.today().year if today is None else today


def _in_100(share: float) -> str:
    if 0 < share < 0.01:
        return "fewer than 1 in 100"
    return f"{100 * share:.0f} in 100"


def _span_words(found: Aoristic, earliest: int, latest: int) -> str:
    """Write a span by its edges as round years: the years 76 to 150 are "c. AD 75-150"."""
    # A bin ends between two years, and its round name is that of the year nearer to AD 1: the
    # edge between 76 and 75 BC is called 75 BC, that between 1 BC and AD 1 is called AD 1.
    first = earliest - 1 if earliest > 1 else earliest
    last = latest if latest > 0 else latest + 1
    if last >= found.today:
        return f"c. {year_words(first)} to today"
    return f"c. {_years(first, last)}"


def _years(first: int, last: int) -> str:
    start, end = year_words(first), year_words(last)
    if start.endswith(" BC") and end.endswith(" BC"):
        return f"{start.removesuffix(' BC')}-{end}"
    if start.endswith(" BC"):
        return f"{start} - {end}"
    return f"{start}-{end.removeprefix('AD ')}"
