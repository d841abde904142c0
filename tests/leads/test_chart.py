"""The chart of dates: what stands in the SVG."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from simsearch.leads.chart import date_chart
from simsearch.sets.dates import parse_edtf

SVG = "{http://www.w3.org/2000/svg}"


def chart(*entries: tuple[str, str], today: int = 2025) -> ElementTree.Element:
    pairs = [(label, parse_edtf(edtf)) for label, edtf in entries]
    return ElementTree.fromstring(date_chart(pairs, today=today))


def texts(root: ElementTree.Element) -> list[str]:
    return [element.text or "" for element in root.iter(f"{SVG}text")]


def ticks(root: ElementTree.Element) -> list[str]:
    found = [e.text or "" for e in root.iter(f"{SVG}text") if e.get("class") == "tick"]
    return found


def bars(root: ElementTree.Element) -> list[ElementTree.Element]:
    return [e for e in root.iter(f"{SVG}rect") if e.get("class") == "bar"]


def test_it_says_what_it_shows_to_those_who_do_not_see_it() -> None:
    root = chart(("1. Knee", "0150~/0250~"), ("2. Dolphin", "-0049/0060"))
    title, description = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None and title.text == "Date ranges"
    assert description is not None
    assert description.text == "1. Knee: c. AD 150 - c. AD 250; 2. Dolphin: 50 BC - AD 60"
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {description.get('id')}"
    for words in ("1. Knee: c. AD 150 - c. AD 250", "2. Dolphin: 50 BC - AD 60"):
        assert words in texts(root)


def test_years_stand_where_the_axis_says() -> None:
    root = chart(("a", "-0099/0100"), ("b", "0001/0100"))
    assert "100 BC" in ticks(root) and "AD 1" in ticks(root) and "AD 100" in ticks(root)
    marks = [e for e in root.iter(f"{SVG}path") if "grid" in (e.get("class") or "")]
    places = [float((re.match(r"M([\d.]+)", e.get("d") or "") or [0, 0])[1]) for e in marks]
    at = dict(zip(ticks(root), places, strict=True))
    whole, late = bars(root)
    assert float(whole.get("x", 0)) == pytest.approx(at["100 BC"], abs=0.1)
    assert float(late.get("x", 0)) == pytest.approx(at["AD 1"], abs=0.1)
    end = float(late.get("x", 0)) + float(late.get("width", 0))
    assert end == pytest.approx(at["AD 100"], abs=0.1)
    # There is no year nought: 100 years BC and AD are one year apart on the axis, not two.
    assert at["AD 100"] - at["AD 1"] == pytest.approx((at["AD 1"] - at["100 BC"]) * 0.99, abs=0.1)


def test_no_label_ever_names_a_year_nought() -> None:
    for edtf in ("-0004/0004", "-0049/0060", "-0449/2000", "0000/0001", "-4000/-3000"):
        for label in ticks(chart(("a", edtf))):
            assert re.fullmatch(r"[1-9]\d* BC|AD [1-9]\d{0,2}|[1-9]\d{3}", label), (edtf, label)
        assert 2 <= len(ticks(chart(("a", edtf)))) <= 9


def ends(root: ElementTree.Element) -> int:
    return sum(e.get("class") == "end" for e in root.iter(f"{SVG}path"))


def test_soft_ends_fade_and_firm_ends_have_a_stroke() -> None:
    firm, soft = chart(("a", "0043/0065")), chart(("a", "0043~/0065~"))
    assert ends(firm) == 2 and not list(firm.iter(f"{SVG}linearGradient"))
    assert ends(soft) == 0 and len(list(soft.iter(f"{SVG}linearGradient"))) == 1
    mixed = chart(("a", "0043~/0065"))
    assert ends(mixed) == 1
    stops = [float(e.get("stop-opacity", 0)) for e in mixed.iter(f"{SVG}stop")]
    assert stops[0] < 0.5 and stops[-1] == 1
    assert float(bars(soft)[0].get("width", 0)) > 0


def test_doubt_is_written_and_open_ends_have_an_arrow() -> None:
    assert texts(chart(("a", "0043?/0065"))).count("?") == 1
    assert texts(chart(("a", "0043?"))).count("?") == 2
    arrow = [e.get("d") or "" for e in chart(("a", "1850/..")).iter(f"{SVG}path")]
    assert sum("L" in path for path in arrow) == 1


def test_open_ends_reach_today() -> None:
    early, late = chart(("a", "1850/.."), today=1950), chart(("a", "1850/.."), today=2050)
    assert date_chart([("a", parse_edtf("1850/.."))], today=1950) != date_chart(
        [("a", parse_edtf("1850/.."))], today=2050
    )
    assert "2000" in ticks(late) and "2000" not in ticks(early)


def test_hostile_names_stay_text() -> None:
    label = '1. <script>alert("x")</script> & \x00\x1b\ud800 "o\'b"'
    source = date_chart([(label, parse_edtf("0043/0065"))], today=2025)
    root = ElementTree.fromstring(source.encode("utf-8"))
    assert not [e for e in root.iter() if "script" in e.tag]
    assert "<script" not in source
    assert any('<script>alert("x")</script>' in text for text in texts(root))


def test_a_long_name_is_cut_but_its_dates_are_not() -> None:
    name = "1. " + "very " * 40 + "long name"
    root = chart((name, "-0049~/0060~"))
    drawn = next(text for text in texts(root) if text.startswith("1. very"))
    assert drawn.endswith("…: c. 50 BC - c. AD 60") and len(drawn) <= 62
    titles = [e.text or "" for e in root.iter(f"{SVG}title")]
    assert f"{name}: c. 50 BC - c. AD 60" in titles


def test_two_charts_on_a_page_do_not_share_ids() -> None:
    entries = [("a", parse_edtf("0043~/0065~")), ("b", parse_edtf("0043~"))]
    sources = [date_chart(entries), date_chart(entries[:1]), date_chart(entries, title="Other")]
    ids = [re.findall(r'\bid="([^"]+)"', source) for source in sources]
    every = [name for names in ids for name in names]
    assert len(every) == len(set(every))
    for source in sources:
        for used in re.findall(r"url\(#([^)]+)\)", source):
            assert f'id="{used}"' in source


def test_everything_lies_inside_the_picture() -> None:
    entries = [("a", "-0449~/-0249~"), ("b", "1850~/.."), ("c", "../0060"), ("d", "0043~")]
    root = chart(*entries)
    width, height = (float(part) for part in (root.get("viewBox") or "").split()[2:])
    for bar in bars(root):
        left, wide = float(bar.get("x", 0)), float(bar.get("width", 0))
        assert left >= 0 and left + wide <= width and wide >= 3
        assert float(bar.get("y", 0)) + float(bar.get("height", 0)) < height


def test_nothing_is_fetched_from_anywhere() -> None:
    source = date_chart([("a", parse_edtf("0043/0065"))])
    assert re.findall(r"https?://[^\"' ]+", source) == ["http://www.w3.org/2000/svg"]
    assert "href" not in source and "@import" not in source


def test_no_dates_is_said() -> None:
    root = chart()
    assert texts(root) == ["No dates to show."]


def test_leads_are_drawn_in_their_order() -> None:
    from types import SimpleNamespace

    from simsearch.leads.chart import leads_chart

    leads = [
        SimpleNamespace(rank=n, type=SimpleNamespace(name=name, dates=parse_edtf("0043/0065")))
        for n, name in ((1, "Knee"), (2, "Dolphin"))
    ]
    root = ElementTree.fromstring(leads_chart(leads, today=2025))  # type: ignore[arg-type]
    drawn = [text for text in texts(root) if ":" in text]
    assert [text[:7] for text in drawn] == ["1. Knee", "2. Dolp"]
