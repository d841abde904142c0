"""The smaller parts: letters, what is left out of texts, scale bars, years on the axis, words."""

from __future__ import annotations

import pytest

from simsearch.leads.chart import axis_of
from simsearch.register.grid import read_findspot
from simsearch.sets.dates import parse_edtf
from simsearch.sheets.dates import ticks
from simsearch.sheets.fonts import REGULAR, fitted, readable, shortened, use_fonts
from simsearch.sheets.pictures import bar_length
from simsearch.sheets.withheld import LEFT_OUT, withholder
from simsearch.sheets.words import notes_for, odds_words


def test_all_latin_letters_are_there() -> None:
    """Unicode blocks: Latin-1, Latin Extended-A and Latin Extended Additional to U+1EF9."""
    letters = [*range(0xC0, 0x180), *range(0x1E00, 0x1E9F), *range(0x1EA0, 0x1EFA)]
    assert set(letters) <= use_fonts()


@pytest.mark.parametrize(
    ("given", "set_as"),
    [
        ("w\u0302 y\u0302", "ŵ ŷ"),
        ("a\tb\u00adc\u200b\u202ed\x07", "a bcd"),
        ("山", "\ufffd"),
        ("שָ", "\ufffd"),
        ("😀", "\ufffd"),
        ("a\r\nb\rc", "a\nb\nc"),
        ("Ω Ж", "Ω Ж"),
    ],
)
def test_letters_are_set_or_visibly_replaced(given: str, set_as: str) -> None:
    assert readable(given) == set_as


def test_lines_are_cut_to_fit() -> None:
    assert shortened("one  two\nthree", 20) == "one two three"
    assert shortened("abcdef", 4) == "abc…"
    assert fitted("short", REGULAR, 8, 100) == "short"
    assert fitted("long " * 40, REGULAR, 8, 60).endswith("…")


@pytest.mark.parametrize(
    "text",
    [
        "TG 514 131", "TG514131", "at TG 51409,13177.", "TG 5140 1317", "O 159 346",
        "52.65757, 1.71792", "52.658 N 1.718 E", "52°39'27.2\"N", "651409 313177",
    ],
)  # fmt: skip
def test_places_finer_than_a_kilometre_are_left_out_of_any_text(text: str) -> None:
    assert LEFT_OUT in withholder(None)(text)


@pytest.mark.parametrize(
    "text",
    [
        "TG 51 13", "34.25 x 12.10 mm", "Type 171 to 176", "Riha 1979 Type 3.12", "AD 150 - 250",
        "7.4 g, 34.2 mm", "bent by 45°", "find-0001", "2026-03-14", "1200 1300",
    ],
)  # fmt: skip
def test_other_figures_stay(text: str) -> None:
    assert withholder(read_findspot("TG 51409 13177"))(text) == text


@pytest.mark.parametrize(
    "text", ["tg 514 131", "T G 5 1 4 0 9 1 3 1 7 7", "tg51409-13177", "51409 13177"]
)
def test_the_find_s_own_place_is_left_out_however_it_is_written(text: str) -> None:
    assert withholder(read_findspot("TG 51409 13177"))(text) == LEFT_OUT


@pytest.mark.parametrize(
    ("across", "length"), [(10, 2), (12, 5), (100, 20), (45, 20), (0.5, 0.2), (12000, 5000)]
)
def test_scale_bars_are_round_and_less_than_half_the_photo(across: float, length: float) -> None:
    assert bar_length(across) == pytest.approx(length)


def test_years_on_the_axis_are_counted_as_people_do() -> None:
    """There is no year nought: 100 BC is -99, then AD 1, AD 100."""
    years = ticks(axis_of([parse_edtf("-0199/0300")], 2026))
    assert {-99, 1, 100} <= set(years) and 0 not in years


def test_odds_are_never_certain() -> None:
    assert odds_words(0.68) == "about 7 in 10 (68 in 100)"
    assert odds_words(1.0) == "more than 19 in 20 (over 95 in 100)"
    assert odds_words(0.0) == "fewer than 1 in 20 (under 5 in 100)"
    assert odds_words(None) == "no odds measured"


def test_urgent_notes_come_first() -> None:
    assert [note.urgent for note in notes_for(["lead", "ammunition", "unheard-of"])] == [
        True,
        False,
    ]
