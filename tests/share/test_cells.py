"""Cells that a spreadsheet would run.

Outside fact: the signs =, +, -, @, tab and carriage return at the start of a cell, and their
full-width forms, as OWASP's note "CSV Injection" lists them (the full-width ones from memory).
"""

from __future__ import annotations

import random

import pytest

from simsearch.sets.dates import parse_edtf
from simsearch.share.cells import bared, guarded, is_formula, is_harmful, received

OWASP = ["=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠"]
ATTACKS = [
    "=1+1",
    '=HYPERLINK("http://evil.example","click")',
    "=cmd|' /C calc'!A0",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "+cmd|' /C calc'!A0",
    "-2+3+cmd|' /C calc'!A0",
    "\t=1+1",
    "\r=1+1",
    "＝1+1",
]


@pytest.mark.parametrize("sign", OWASP)
def test_every_sign_that_begins_a_formula_is_kept_from_doing_so(sign: str) -> None:
    assert guarded(f"{sign}word") == f"'{sign}word"


@pytest.mark.parametrize("attack", ATTACKS)
def test_known_attacks_stay_harmless_on_the_way_in_whatever_the_sender_says(attack: str) -> None:
    for cell, were_guarded in ((attack, False), (guarded(attack), True), (attack, True)):
        kept, changed = received(cell, were_guarded=were_guarded)
        assert changed
        assert kept == f"'{attack}"
        assert not is_formula(kept)


@pytest.mark.parametrize("words", ["- seen in the hand", "+ a second pin", "-", "+/- 2 mm"])
def test_words_after_a_dash_come_back_as_they_were(words: str) -> None:
    assert guarded(words) == f"'{words}"
    assert received(guarded(words), were_guarded=True) == (words, False)
    assert not is_harmful(words)


@pytest.mark.parametrize("date", ["-0049~/0060", "-0449~/-0249~", "-0049", "-0100?/.."])
def test_dates_before_christ_stay_dates(date: str) -> None:
    parse_edtf(date)  # the cell is a date of the standard
    assert guarded(date) == date
    assert received(date, were_guarded=True) == (date, False)


def test_what_is_guarded_can_always_be_bared() -> None:
    chance = random.Random(5)
    letters = "'=+-@\t\r＝a1.(~ "
    for _ in range(20_000):
        cell = "".join(chance.choices(letters, k=chance.randint(0, 6)))
        assert bared(guarded(cell)) == cell
        assert not is_formula(guarded(cell))
        # What was received once stays as it is, however often it is passed on.
        kept, _ = received(guarded(cell), were_guarded=True)
        assert received(guarded(kept), were_guarded=True) == (kept, False)
