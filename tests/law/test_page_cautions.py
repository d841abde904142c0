"""The page's cautions on one find are those of the law package, sources and all."""

from __future__ import annotations

from simsearch.page.cautions import CHECK_CURRENT, for_find


def test_a_silver_find_in_wales_is_told_its_law_with_reason_and_source() -> None:
    (caution,) = for_find({"material": "silver"}, "wales")
    assert "given as 'silver'" in caution.text
    assert "coroner" in caution.text
    assert "14 days" in caution.text
    assert caution.text.endswith(CHECK_CURRENT)
    assert len(caution.sources) == len(set(caution.sources)) >= 2
    assert all(source.basis in ("read", "from memory") for source in caution.sources)


def test_urgent_ones_come_first() -> None:
    found = for_find({"title": "Old shell case"}, "ireland", type_cautions=["lead"], count=3)
    assert [caution.urgent for caution in found] == [True, False, False, False]
