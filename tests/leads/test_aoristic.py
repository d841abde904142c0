"""Aoristic weights: published examples, conservation, words and the chart."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import numpy as np
import pytest

from simsearch.leads.aoristic import (
    Aoristic,
    aoristic,
    aoristic_chart,
    date_words,
    leads_dating,
    likely_span,
    share_between,
    year_weights,
)
from simsearch.leads.chart import date_chart
from simsearch.leads.model import Lead, Leads
from simsearch.sets.dates import parse_edtf
from simsearch.sets.reference_set import open_set

SVG = "{http://www.w3.org/2000/svg}"
TODAY = 2026


def added(*entries: tuple[str, float], width: int = 25) -> Aoristic:
    found = aoristic([(parse_edtf(e), w) for e, w in entries], width=width, today=TODAY)
    assert found is not None
    return found


def test_the_worked_example_of_the_method() -> None:
    """Ratcliffe 2000: an event that may lie in any of n equal time slots gives each slot 1/n,
    one known to the slot gives it 1, and slots add up over the events (from memory)."""
    four, one, two = ("0001/0100", 1.0), ("0026/0050", 1.0), ("0026/0075", 1.0)
    assert added(four).weights == pytest.approx([0.25, 0.25, 0.25, 0.25])
    assert added(four, one, two).weights == pytest.approx([0.25, 1.75, 0.75, 0.25])


def test_dividing_by_the_number_of_years_by_hand() -> None:
    """A firm range of 30 years, AD 11-40, has 15 years in AD 1-25 and 15 in AD 26-50."""
    assert added(("0011/0040", 3.0)).weights == pytest.approx([1.5, 1.5])
    assert share_between(parse_edtf("0011/0040"), 11, 16) == pytest.approx(6 / 30)


def test_weight_is_neither_lost_nor_made() -> None:
    entries = [(t.dates, 0.5 + n) for n, t in enumerate(open_set().types.values())]
    found = aoristic(entries, today=TODAY)
    assert found is not None
    assert found.total == pytest.approx(sum(weight for _, weight in entries))
    for dates, _ in entries:
        assert year_weights(dates, TODAY)[1].sum() == pytest.approx(1.0)


def test_about_fades_and_firm_ends_do_not() -> None:
    start, weights = year_weights(parse_edtf("0100~/0300"))
    assert start == 75 and len(weights) == 226
    inside = weights[-1]
    assert weights[-100:] == pytest.approx(np.full(100, inside))
    # At the year that is "about" half of the true beginnings lie before it.
    assert weights[25] / inside == pytest.approx(0.51)
    assert (np.diff(weights[:50]) > 0).all()
    start, weights = year_weights(parse_edtf("0100~"))
    assert start == 75 and weights == pytest.approx(weights[::-1])


def test_open_ends_are_closed_as_stated() -> None:
    start, weights = year_weights(parse_edtf("1850/.."), 1899)
    assert start == 1850 and weights == pytest.approx(np.full(50, 1 / 50))
    start, weights = year_weights(parse_edtf("../0400"), TODAY)
    assert start == 350 and len(weights) == 51
    assert year_weights(parse_edtf("2100/.."), TODAY)[0] == 2100


@pytest.mark.parametrize(
    ("edtf", "words"),
    [
        ("0076/0150", "Most likely c. AD 75-125 (67 in 100 of the weight)."),
        ("0026/0050", "Most likely c. AD 25-50 (100 in 100 of the weight)."),
        ("-0024/0025", "Most likely c. 25 BC - AD 1 (50 in 100 of the weight)."),
        ("-0099/-0050", "Most likely c. 100-75 BC (50 in 100 of the weight)."),
        ("0976/1025", "Most likely c. AD 975-1000 (50 in 100 of the weight)."),
        ("2001/..", "Most likely c. 2000-2025 (96 in 100 of the weight)."),
        ("2020/..", "Most likely c. 2000-2025 (86 in 100 of the weight)."),
        ("2026/..", "Most likely c. 2025 to today (100 in 100 of the weight)."),
    ],
)
def test_words_name_the_shortest_span_in_round_years(edtf: str, words: str) -> None:
    assert date_words(added((edtf, 1.0))) == words


def test_the_span_is_the_shortest_by_trying_all() -> None:
    rng = np.random.default_rng(5)
    for _ in range(30):
        firsts = rng.integers(-300, 1500, 5)
        entries = [
            (f"{first:05d}/{first + rng.integers(1, 300):05d}".replace("+", ""), float(weight))
            for first, weight in zip(firsts, rng.uniform(0.1, 1, 5), strict=True)
        ]
        plain = [(_edtf(text), weight) for text, weight in entries]
        found = added(*plain)
        span = likely_span(found)
        n, half = len(found.weights), found.total / 2
        runs = [
            j - i
            for i in range(n)
            for j in range(i + 1, n + 1)
            if found.weights[i:j].sum() >= half - 1e-9
        ]
        assert (span.latest - span.earliest + 1) == 25 * min(runs)
        assert span.share >= 0.5 - 1e-9


def _edtf(text: str) -> str:
    years = [int(part) for part in text.split("/")]
    return "/".join(f"-{-year:04d}" if year < 0 else f"{year:04d}" for year in years)


def leads_of(*pairs: tuple[str, float | None]) -> Leads:
    types = open_set().types
    found = [
        Lead(n, types[type_id], 0.5, odds, "lead", ()) for n, (type_id, odds) in enumerate(pairs, 1)
    ]
    return Leads(tuple(found), True, None, "", "set", "encoder", 1)


def test_leads_weigh_their_odds_and_it_is_said() -> None:
    dated = leads_dating(leads_of(("knee", 0.8), ("lead-shot", 0.1)), today=TODAY)
    assert dated is not None and dated.total == pytest.approx(0.9)
    assert "90 in 100 of all odds" in dated.note
    span = likely_span(dated)
    assert span.earliest >= 100 and span.latest <= 300  # knee brooches: c. AD 150-250
    even = leads_dating(leads_of(("knee", None), ("lead-shot", None)), today=TODAY)
    assert even is not None and even.total == pytest.approx(2.0) and "no odds" in even.note
    assert "The dates spread widely: 8" in date_words(even)
    assert "widely" not in date_words(dated)
    assert leads_dating(leads_of()) is None
    assert "No date" in date_words(None)


def test_weights_below_nought_and_bins_without_width_are_refused() -> None:
    for entries, width in (([(parse_edtf("0100"), -1.0)], 25), ([], 0)):
        with pytest.raises(ValueError, match="weights must"):
            aoristic(entries, width=width)
    assert aoristic([(parse_edtf("0100"), 0.0)]) is None


def test_the_chart_shares_the_axis_of_the_date_chart_and_speaks() -> None:
    entries = [("0101/0200", 3.0), ("0151/0400", 1.0)]
    found = added(*entries)
    root = ElementTree.fromstring(aoristic_chart(found, title="Leads together <b>"))
    ranges = date_chart([("a", parse_edtf(e)) for e, _ in entries], today=TODAY)
    assert _ticks(root) == _ticks(ElementTree.fromstring(ranges))
    bars = [e for e in root.iter(f"{SVG}rect") if e.get("class") == "bar"]
    heights = [float(bar.get("height", 0)) for bar in bars]
    shown = found.weights[found.weights > 0]
    assert np.array(heights) / heights[0] == pytest.approx(shown / shown[0], abs=1e-3)
    title, words = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == "Leads together <b>"
    assert words is not None and words.text is not None
    assert words.text.startswith(date_words(found)) and "AD 101-200: 80 in 100." in words.text
    empty = ElementTree.fromstring(aoristic_chart(None))
    assert "No date" in "".join(empty.itertext())


def _ticks(root: ElementTree.Element) -> list[tuple[str | None, str | None]]:
    return [(e.get("x"), e.text) for e in root.iter(f"{SVG}text") if e.get("class") == "tick"]


def test_bars_stand_where_the_axis_says() -> None:
    root = ElementTree.fromstring(aoristic_chart(added(("0101/0200", 1.0))))
    bars = [e for e in root.iter(f"{SVG}rect") if e.get("class") == "bar"]
    lines = [re.match(r"M([\d.]+)", e.get("d") or "") for e in root.iter(f"{SVG}path")
             if "grid" in (e.get("class") or "")]  # fmt: skip
    at = dict(zip((t for _, t in _ticks(root)), (float(m[1]) for m in lines if m), strict=True))
    # The first bin begins with the year 101, one year after the line at AD 100.
    year = (at["AD 200"] - at["AD 100"]) / 100
    assert float(bars[0].get("x", 0)) == pytest.approx(at["AD 100"] + year, abs=0.05)
    assert len(bars) == 4
