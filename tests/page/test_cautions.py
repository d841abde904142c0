"""Cautions: every kind a type may carry has one, and each says where it comes from."""

from __future__ import annotations

from pathlib import Path

import pytest
from PIL import Image

from simsearch import open_set
from simsearch.page import cautions
from simsearch.sets.types import CAUTIONS
from tests.page.small_set import COLOURS, FAR_COLOUR, make_small_set
from tests.tiny_set import GridEncoder

EVERY = (*cautions.ALWAYS, *cautions.BY_KEY.values(), *cautions.LAW, *cautions.CARE)


def test_every_caution_of_the_types_table_has_words() -> None:
    assert set(cautions.BY_KEY) == set(CAUTIONS)


@pytest.mark.parametrize("caution", EVERY, ids=lambda caution: caution.key)
def test_each_names_its_source_and_how_it_is_known(caution: cautions.Caution) -> None:
    assert caution.sources
    for source in caution.sources:
        assert source.title
        assert source.basis in ("read", "from memory")
        assert source.url.startswith(("http://", "https://")) or not source.url


@pytest.mark.parametrize("key", ["precious-metal", "coin-group"])
def test_law_is_told_with_a_word_to_check_it(key: str) -> None:
    assert cautions.BY_KEY[key].text.endswith(cautions.CHECK_CURRENT)


def test_ammunition_is_left_alone_and_reported() -> None:
    # The order of the day on the police pages named as sources: do not touch, do not move,
    # keep others away, call the police, bring nothing in.
    text = cautions.AMMUNITION.text
    for told in ("do not touch or move", "keep people away", "police", "Do not carry"):
        assert told in text
    assert cautions.AMMUNITION.urgent


def test_numbers_in_the_prompts_are_those_of_their_sources() -> None:
    # Treasure Act 1996 s.1(1)(a): 300 years and 10 per cent by weight of precious metal
    # (legislation.gov.uk). The 14 days: House of Commons, 13 March 2023.
    text = cautions.PRECIOUS.text
    assert "300 years" in text
    assert "10%" in text
    assert "14 days" in text


def test_urgent_ones_come_first_and_unknown_keys_are_passed_over() -> None:
    keys = [caution.key for caution in cautions.for_keys(["lead", "from-next-year", "ammunition"])]
    assert keys == ["ammunition", "lead"]


def test_a_warning_stands_on_top_only_for_leads_worth_looking_at(tmp_path: Path) -> None:
    reference = open_set(make_small_set(tmp_path / "set"))

    def urgent(colour: tuple[int, int, int]) -> list[str]:
        find = Image.new("RGB", (40, 40), colour)
        leads = reference.look([find], encoder=GridEncoder())
        return [caution.key for caution in cautions.urgent_for(leads)]

    assert urgent(COLOURS["lead-shot"]) == ["ammunition"]
    assert urgent(COLOURS["knee"]) == []
    assert urgent(FAR_COLOUR) == []
