"""Every line has its source and says how it is known; every country answers every topic."""

from __future__ import annotations

import re
import shutil
from datetime import date
from pathlib import Path

import pytest

import simsearch.law
from simsearch.law import CHECK_CURRENT, COUNTRIES, MATERIALS, NOT_ADVICE, TOPICS, LawError, Rule
from simsearch.law.countries import country_id, rules
from simsearch.law.first_aid import first_aid, materials_in
from simsearch.law.table import read_tables, shipped

FOLDER = Path(simsearch.law.__file__).parent
LINES = [
    *{line for country in COUNTRIES for line in rules(country)},
    *{line for lines in shipped().care.values() for line in lines},
]


@pytest.mark.parametrize("line", LINES, ids=lambda line: line.words[:30])
def test_every_line_names_its_source_and_how_it_is_known(line: Rule) -> None:
    assert line.words.endswith(".")
    assert line.source
    assert line.to_whom
    if line.basis == "read":
        assert date.fromisoformat(line.read_on) <= date.today()
        assert line.known == f"read {line.read_on}"
    else:
        assert (line.basis, line.read_on, line.known) == ("from memory", "", "from memory")


def test_read_acts_name_section_or_article() -> None:
    acts = {line.source for line in LINES if re.search(r"\b(Act|Order) \d{4}", line.source)}
    assert len(acts) >= 12
    for act in acts:
        assert re.search(r"section|article|Part \d|Amendment\) Order 2023", act), act


@pytest.mark.parametrize("country", COUNTRIES)
def test_every_country_answers_every_topic(country: str) -> None:
    answered = [line.topic for line in rules(country)]
    assert set(answered) == set(TOPICS)
    assert answered == sorted(answered, key=TOPICS.index)
    assert all(line.within for line in rules(country))


# Periods against the acts named beside them: Treasure Act 1996 s.8(2) "fourteen days"; Historic
# Monuments and Archaeological Objects (NI) Order 1995 art. 42(1) "within 14 days"; National
# Monuments Act 1930 s.23(3) as substituted in 1994 "not longer than 96 hours" (all read on
# 2026-11-25). The Scottish review of 2003, 2.3, found no statutory period.
@pytest.mark.parametrize(
    ("country", "within", "whom"),
    [
        ("england", "14 days", "coroner"),
        ("wales", "14 days", "coroner"),
        ("northern-ireland", "14 days", "police"),
        ("ireland", "96 hours", "National Museum"),
        ("scotland", "without unreasonable delay", "treasure trove unit"),
    ],
)
def test_periods_and_roles_are_those_of_the_acts(country: str, within: str, whom: str) -> None:
    found = [line for line in rules(country, ["reporting"]) if line.within == within]
    assert any(whom in line.to_whom for line in found)


def test_numbers_are_those_of_section_1_and_of_the_orders() -> None:
    # Treasure Act 1996 s.1(1)(a): 300 years, 10 per cent, two coins, ten coins. Order of 2002,
    # articles 1(2), 2 and 3: two objects, Iron Age or earlier, from 1 January 2003.
    told = {topic: " ".join(r.words for r in rules("england", [topic])) for topic in TOPICS}
    assert "300 years" in told["precious metal"]
    assert "10%" in told["precious metal"]
    assert "two coins" in told["several objects"]
    assert "ten whatever their metal" in told["several objects"]
    assert "Two or more base-metal objects" in told["prehistoric base metal"]
    assert "1 January 2003" in told["prehistoric base metal"]
    assert "30 July 2023" in told["significance"]


def test_the_significance_class_is_told_for_england_and_wales_only() -> None:
    for country in COUNTRIES:
        sources = " ".join(line.source for line in rules(country, ["significance"]))
        assert ("Order 2023" in sources) == (country in ("england", "wales"))


def test_wales_has_its_own_act_for_protected_places() -> None:
    # Historic Environment (Wales) Act 2023, section 60 (legislation.gov.uk asc/2023/3/60).
    (line,) = rules("wales", ["protected places"])
    assert "(Wales) Act 2023, section 60" in line.source


@pytest.mark.parametrize("country", COUNTRIES)
def test_ammunition_is_left_and_reported_everywhere(country: str) -> None:
    # The police pages named as sources: do not touch, do not move, keep others away, report.
    told = rules(country, ["ammunition"])[0]
    for words in ("do not touch", "do not move", "Leave", "keep people away", "report"):
        assert words in told.words
    assert "police" in told.to_whom


def test_what_is_shown_says_that_it_is_no_legal_advice() -> None:
    assert "not legal advice" in NOT_ADVICE
    assert "Check the current text" in CHECK_CURRENT


@pytest.mark.parametrize("words", ["No cleaning", "No acids", "No electrolysis"])
def test_never_dos_hold_for_every_find(words: str) -> None:
    assert any(line.never and line.words.startswith(words) for line in first_aid())


@pytest.mark.parametrize("material", MATERIALS[1:])
def test_each_material_has_something_to_do_and_something_never_to_do(material: str) -> None:
    own = [line for line in first_aid(material) if line.topic == material]
    assert {line.never for line in own} == {True, False}


@pytest.mark.parametrize(
    ("text", "materials"),
    [
        ("Copper alloy (bronze)", ("copper alloy",)),
        ("silver-gilt", ("silver", "gold")),
        ("pewter", ("tin or pewter",)),
        ("iron with wood", ("iron", "organic traces")),
        ("iron, no wood", ("iron",)),
        ("leaden thoughts", ()),
        ("", ()),
    ],
)
def test_materials_are_read_from_words(text: str, materials: tuple[str, ...]) -> None:
    assert materials_in(text) == materials


@pytest.mark.parametrize("text", ["Northern Ireland", "NORTHERN-IRELAND", " northern  ireland"])
def test_countries_are_known_as_people_write_them(text: str) -> None:
    assert country_id(text) == "northern-ireland"


def test_an_unknown_country_or_topic_is_refused_with_what_there_is() -> None:
    with pytest.raises(LawError, match="scotland"):
        rules("atlantis")
    with pytest.raises(LawError, match="human remains"):
        rules("wales", ["parking"])


@pytest.mark.parametrize(
    ("file", "old", "new", "told"),
    [
        ("law.toml", 'source = "code-2017"', 'source = "nowhere"', "no source 'nowhere'"),
        ("law.toml", '"england"', '"englund"', "countries must be a list of"),
        ("law.toml", "words = ", "wards = ", "words must be text"),
        ("law.toml", '["significance"]', '["reporting"]', "england has no line on significance"),
        ("care.toml", 'material = "gold"', 'material = "mithril"', "no line on gold"),
        ("sources.toml", 'read_on = "2026-11-25"', 'read_on = "25/11/2026"', "if and only if"),
        ("sources.toml", 'url = "http', 'url = "javascript:http', "not a web address"),
        ("law.toml", "[[rules]]", "[[rules", "not a TOML table"),
    ],
)
def test_a_wrong_table_is_told_by_place(
    tmp_path: Path, file: str, old: str, new: str, told: str
) -> None:
    for name in ("law.toml", "care.toml", "sources.toml"):
        shutil.copy(FOLDER / name, tmp_path / name)
    text = (tmp_path / file).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / file).write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(LawError) as caught:
        read_tables(tmp_path)
    assert told in str(caught.value)
    assert file in str(caught.value)


def test_a_missing_table_is_told(tmp_path: Path) -> None:
    with pytest.raises(LawError, match=r"sources\.toml cannot be read"):
        read_tables(tmp_path)
