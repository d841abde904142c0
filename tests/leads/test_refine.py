"""Observations move odds by Bayes' rule, never to certainty, and say why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from simsearch.leads.model import Lead
from simsearch.leads.observed import FIXINGS, MATERIALS, SURFACES, Measure, Observed, nearby_dates
from simsearch.leads.refine import Refined, length_limits, notes_on, refine, weigh, why_words
from simsearch.leads.traits import materials_of, treatments_of
from simsearch.sets.dates import parse_edtf
from simsearch.sets.reference_set import open_set
from simsearch.sets.types import Type

TYPES = list(open_set().types.values())
IDS = [kind.id for kind in TYPES]


def kinds(*ids: str) -> list[Type]:
    return [TYPES[IDS.index(one)] for one in ids]


def refined(odds: Sequence[float], observed: Observed, types: list[Type]) -> Refined:
    table = np.array(odds)
    return refine(types, observed, sums=np.log(table), odds=table, closeness=0.7, today=2026)


def factor_of(type_id: str, observed: Observed, types: list[Type] = TYPES) -> float:
    return float(weigh(types, observed, 2026).factors[types.index(kinds(type_id)[0])])


def test_the_example_of_the_guide_a_long_find_and_a_short_type() -> None:
    reasons = weigh(TYPES, Observed(length_mm=Measure(62))).reasons[IDS.index("knee")]
    assert reasons[0].words == (
        "Your find is 62 mm; this type is 25 to 45 mm: longer than almost all of them."
    )
    assert reasons[0].factor < 0.2


@pytest.mark.parametrize(
    "extreme",
    [
        {"length_mm": Measure(1999)},
        {"length_mm": Measure(0.5, 0.1)},
        {"length_mm": Measure(1999, 1, "broken")},
        {"weight_g": 20_000.0},
        {"thickness_mm": Measure(0.1, 0.01)},
        {"nearby": nearby_dates("modern")},
        {"nearby": parse_edtf("-5000/-4000")},
        *({"material": name} for name in MATERIALS),
        *({"fixing": name} for name in FIXINGS),
        *({"surface": name} for name in SURFACES),
    ],
)
def test_nothing_becomes_certain_or_impossible(extreme: dict[str, Any]) -> None:
    count = len(TYPES)
    found = refined([1 / count] * count, Observed(**extreme), TYPES)
    assert found.odds is not None and found.odds.sum() == pytest.approx(1.0)
    assert found.odds.min() > 0.02 / count / 10 and found.odds.max() < 0.9
    assert found.weighed.factors.min() >= 0.05 - 1e-9
    assert found.closeness is not None and 0 < found.closeness < 1


def test_everything_against_a_lead_still_leaves_it_possible() -> None:
    odds = [0.98] + [0.02 / (len(TYPES) - 1)] * (len(TYPES) - 1)
    against = Observed(
        length_mm=Measure(300), thickness_mm=Measure(60), weight_g=900.0, material="bone",
        fixing="none", surface="enamelled", nearby=nearby_dates("modern"),
    )  # fmt: skip
    found = refined(odds, against, TYPES)
    assert found.odds is not None and found.odds.min() > 0 and found.odds.max() < 1
    assert found.closeness is not None and found.closeness < 0.1  # fits nothing here


def test_bayes_rule_written_out() -> None:
    some = kinds("knee", "cruciform", "aucissa")
    observed = Observed(length_mm=Measure(62), fixing="hinged")
    found = refined([0.5, 0.3, 0.2], observed, some)
    factors = weigh(some, observed).factors
    total = 0.5 * factors[0] + 0.3 * factors[1] + 0.2 * factors[2]
    assert found.odds == pytest.approx(np.array([0.5, 0.3, 0.2]) * factors / total)
    assert found.closeness == pytest.approx(0.7 * total / (0.7 * total + 0.3))
    for number, reasons in enumerate(found.weighed.reasons):
        assert np.prod([reason.factor for reason in reasons]) == pytest.approx(factors[number])


def test_the_order_of_observing_does_not_matter() -> None:
    length, fixing = Observed(length_mm=Measure(62)), Observed(fixing="hinged")
    start = np.full(len(TYPES), 1 / len(TYPES))
    first = refined(list(start), length, TYPES).odds
    assert first is not None
    both = refined(list(start), Observed(length_mm=Measure(62), fixing="hinged"), TYPES).odds
    assert refined(first.tolist(), fixing, TYPES).odds == pytest.approx(both)


def test_a_broken_length_is_a_lower_bound() -> None:
    short, long = Measure(30, 1, "broken"), Measure(62, 1, "broken")
    # A piece of 30 mm can be of any brooch that long; whole ones of 30 mm are not cruciform.
    assert factor_of("cruciform", Observed(length_mm=short)) > 0.9
    assert factor_of("cruciform", Observed(length_mm=Measure(30))) < 0.1
    assert factor_of("knee", Observed(length_mm=long)) < 0.1
    # The longer the piece, the less it speaks for a short type against a long one.
    pieces = [Observed(length_mm=Measure(mm, 1, "broken")) for mm in (5, 20, 40, 60)]
    ratios = [factor_of("knee", seen) / factor_of("cruciform", seen) for seen in pieces]
    assert ratios == sorted(ratios, reverse=True) and ratios[0] == pytest.approx(1, abs=0.01)


def test_how_much_is_left_says_how_to_read_the_length() -> None:
    piece = Measure(40, 1, "broken")
    assert length_limits(Observed(length_mm=Measure(40))) is None
    assert length_limits(Observed(length_mm=piece)) == pytest.approx((40, 1e6, 0.025))
    half = Observed(length_mm=piece, completeness="half or more")
    less = Observed(length_mm=piece, completeness="less than half")
    assert (length_limits(half) or ())[:2] == pytest.approx((40, 100))
    assert (length_limits(less) or ())[:2] == pytest.approx((64, 1e6))
    # 40 mm and less than half: 60 mm brooches drop out; half or more: 160 mm ones do.
    assert factor_of("headstud", less) < factor_of("headstud", half)
    assert factor_of("great-square-headed", half) < factor_of("great-square-headed", less)
    assert "some 40 to 100 mm" in weigh(kinds("knee"), half).reasons[0][0].words


def test_a_width_alone_is_the_least_that_the_length_can_be() -> None:
    assert factor_of("button-brooch", Observed(width_mm=Measure(60))) < 0.1
    both = Observed(width_mm=Measure(10), length_mm=Measure(40))
    assert weigh(TYPES, both).factors == pytest.approx(
        weigh(TYPES, Observed(length_mm=Measure(40))).factors
    )
    assert "width" in notes_on(both)[0]


def test_types_of_which_nothing_is_known_stay_where_they_are() -> None:
    seen = Observed(length_mm=Measure(300), fixing="sprung")
    reasons = weigh(TYPES, seen).reasons[IDS.index("modern-replica")]
    assert [reason.factor for reason in reasons] == [1.0, 1.0]
    assert "No length is known" in reasons[0].words


def test_a_fixing_on_a_broken_object_may_have_broken_away() -> None:
    whole, piece = Observed(fixing="none"), Observed(fixing="none", completeness="half or more")
    assert factor_of("knee", whole) < factor_of("knee", piece) < 1
    assert factor_of("colchester", Observed(fixing="sprung")) > 1.5
    assert 0.1 < factor_of("colchester", Observed(fixing="hinged")) < 0.5
    assert factor_of("trumpet", Observed(fixing="hinged")) > 1  # sprung or hinged


@pytest.mark.parametrize(
    ("text", "shares"),
    [
        ("copper alloy", {"copper alloy": 1.0}),
        ("copper alloy; iron", {"copper alloy": 0.5, "iron": 0.5}),
        ("copper alloy; sometimes silver", {"copper alloy": 0.8, "silver": 0.2}),
        ("copper alloy, often with an iron pin", {"copper alloy": 1.0}),
        ("copper alloy, tinned or with applied sheet", {"copper alloy": 1.0}),
        ("silver with black inlay", {"silver": 1.0}),
        ("lead or tin alloy", {"lead": 0.5, "tin alloy": 0.5}),
        ("lead; also stone, bone and fired clay",
         {"lead": 0.25, "stone": 0.25, "bone": 0.25, "fired clay": 0.25}),
        ("something else", {}),
    ],
)  # fmt: skip
def test_materials_are_read_out_of_the_words_of_the_table(
    text: str, shares: dict[str, float]
) -> None:
    assert materials_of(text) == pytest.approx(shares)


def test_treatments_are_read_out_of_the_words_of_the_table() -> None:
    named = {kind.id: treatments_of(kind) for kind in TYPES}
    assert named["headstud"] == ("enamelled",) and named["saucer"] == ("gilt",)
    assert named["colchester"] == () and "inlaid" in named["strap-end-class-a"]
    assert factor_of("headstud", Observed(surface="enamelled")) > 2
    assert factor_of("colchester", Observed(surface="enamelled")) < 0.6
    assert factor_of("colchester", Observed(surface="none seen")) > 1


def test_things_nearby_have_a_floor_and_count_by_years_shared() -> None:
    roman = Observed(nearby=nearby_dates("roman"))
    assert factor_of("cruciform", roman) < 1 < factor_of("knee", roman)
    assert factor_of("lead-shot", roman) == pytest.approx(0.5)
    spread = weigh(TYPES, roman).factors
    assert spread.min() >= 0.5 and spread.max() <= 3.0 + 1e-9


def test_every_type_with_a_correct_length_and_fixing_does_not_lose_to_chance() -> None:
    """Averaged over what may be measured on it, the right type gains (Gibbs' inequality)."""
    rng = np.random.default_rng(3)
    for kind in TYPES:
        if kind.length_mm is None:
            continue
        row = TYPES.index(kind)
        logs = [
            np.log(
                weigh(TYPES, Observed(length_mm=Measure(rng.uniform(*kind.length_mm)))).factors[row]
            )
            for _ in range(6)
        ]
        assert np.mean(logs) > -0.1, kind.id


def lead(before: float | None, odds: float | None, observed: Observed, type_id: str) -> Lead:
    reasons = weigh(TYPES, observed).reasons[IDS.index(type_id)]
    plain = Lead(1, kinds(type_id)[0], 0.5, odds, "lead", ())
    return replace(plain, before=before, reasons=reasons)


def test_words_say_why_a_lead_rose_or_fell() -> None:
    seen = Observed(length_mm=Measure(62), fixing="hinged")
    fell = why_words(lead(0.5, 0.1, seen, "knee"))
    assert fell.startswith("Fell from about 5 in 10 to about 1 in 10. Your find is 62 mm")
    assert fell.endswith("speaks against it.")
    rose = why_words(lead(0.1, 0.5, seen, "aucissa"))
    assert rose.startswith("Rose from about 1 in 10 to about 5 in 10. The pin was hinged")
    assert why_words(lead(0.40, 0.42, seen, "aucissa")).startswith("Hardly moved")
    assert why_words(lead(0.5, 0.1, Observed(fixing="hinged"), "aucissa")) == (
        "Fell from about 5 in 10 to about 1 in 10. More speaks for others."
    )
    assert why_words(lead(None, None, seen, "knee")).startswith("Your find is 62 mm")
    assert why_words(Lead(1, kinds("knee")[0], 0.5, 0.5, "lead", ())) == ""


def test_words_of_every_observation_are_whole_sentences() -> None:
    seen = Observed(
        length_mm=Measure(40, 1, "broken"), thickness_mm=Measure(5), weight_g=6.0,
        material="silver", fixing="none", surface="none seen", completeness="less than half",
        nearby=nearby_dates("roman"),
    )  # fmt: skip
    for reasons in weigh(TYPES, seen).reasons:
        assert [reason.observation for reason in reasons] == [
            "length", "thickness", "weight", "material", "fixing", "surface", "nearby",
        ]  # fmt: skip
        for reason in reasons:
            assert reason.words.endswith(".") and "None" not in reason.words, reason.words
            assert "nan" not in reason.words.split()
