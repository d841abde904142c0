"""What to look at next: information identities, and sense in what is proposed."""

from __future__ import annotations

import json

import numpy as np
import pytest
from scipy import stats
from sklearn.metrics import mutual_info_score

from simsearch.leads.model import Lead, Leads
from simsearch.leads.next_look import entropy, information, what_next
from simsearch.leads.observed import Measure, Observed
from simsearch.sets.reference_set import open_set

TYPES = open_set().types


def leads_of(observed: Observed | None = None, **odds: float | None) -> Leads:
    found = [
        Lead(rank, TYPES[name.replace("_", "-")], 0.5, chance, "lead", ())
        for rank, (name, chance) in enumerate(odds.items(), 1)
    ]
    return Leads(tuple(found), True, None, "", "set", "encoder", 1, observed=observed)


def asked(leads: Leads, observed: Observed | None = None) -> dict[str, float]:
    found: dict[str, float] = {}
    for one in what_next(leads, TYPES, observed, most=99):
        found.setdefault(one.observation, one.bits)
    return found


def test_entropy_and_information_against_libraries() -> None:
    """Oracles: scipy.stats.entropy and scikit-learn's mutual_info_score on counts."""
    shares = np.array([0.5, 0.3, 0.2, 0.0])
    assert entropy(shares) == pytest.approx(stats.entropy(shares, base=2))
    counts = np.array([[30, 10, 10], [5, 20, 25]])
    first, second = np.nonzero(counts)
    labels = np.repeat(first, counts[first, second]), np.repeat(second, counts[first, second])
    odds = counts.sum(axis=1) / counts.sum()
    answers = counts / counts.sum(axis=1, keepdims=True)
    nats = float(mutual_info_score(*labels))
    assert information(odds, answers) == pytest.approx(nats / np.log(2))


def test_information_at_its_ends() -> None:
    even = np.array([0.5, 0.5])
    assert information(even, np.eye(2)) == pytest.approx(1.0)  # an answer that settles it
    assert information(even, np.full((2, 3), 1 / 3)) == 0.0  # one that tells nothing
    assert information(np.array([1.0, 0.0]), np.eye(2)) == 0.0  # nothing left to tell


def test_nothing_can_tell_more_than_there_is_to_know() -> None:
    rng = np.random.default_rng(2)
    names = list(TYPES)
    for _ in range(15):
        some = rng.choice(names, 6, replace=False)
        odds = rng.dirichlet(np.ones(6))
        leads = leads_of(**dict(zip(some.tolist(), odds.tolist(), strict=True)))
        for one in what_next(leads, TYPES, most=99):
            assert 0.02 <= one.bits <= entropy(odds) + 1e-6


def test_what_separates_comes_first() -> None:
    # Sprung or hinged is what the two differ in; their lengths and metals are alike.
    fixing = what_next(leads_of(polden_hill=0.5, dolphin=0.5), TYPES)
    assert fixing[0].observation == "fixing" and "spring" in fixing[0].question
    assert "Polden Hill brooch: sprung; Dolphin brooch: hinged." in fixing[0].why
    assert fixing[0].bits > 3 * next(s.bits for s in fixing[1:] if s.observation != "feature")
    # A long and a short one, both sprung.
    length = what_next(leads_of(great_square_headed=0.5, button_brooch=0.5), TYPES)
    assert length[0].observation == "length" and "longest" in length[0].question
    assert length[0].bits == pytest.approx(1.0, abs=0.3)
    silver = what_next(leads_of(short_cross_penny=0.5, jetton=0.5), TYPES)
    assert silver[0].observation == "material" and "without scratching" in silver[0].question
    assert [s.bits for s in silver] == sorted((s.bits for s in silver), reverse=True)


def test_look_alikes_are_told_apart_in_the_words_of_the_set() -> None:
    found = what_next(leads_of(polden_hill=0.6, dolphin=0.4), TYPES, most=99)
    feature = next(s for s in found if s.observation == "feature")
    assert feature.question == "Look for a pierced cap at each wing end."
    assert feature.why.startswith("Tells Polden Hill brooch from Dolphin brooch: Pierced caps")
    pairs = [s for s in found if s.observation == "feature"]
    assert len(pairs) == 1  # not once from each side


def test_a_question_about_two_leads_tells_little_of_others() -> None:
    both = asked(leads_of(polden_hill=0.5, dolphin=0.5))["feature"]
    few = asked(leads_of(polden_hill=0.1, dolphin=0.1, cruciform=0.8))["feature"]
    assert few == pytest.approx(0.2 * both)


def test_what_is_known_is_not_asked_again() -> None:
    everything = asked(leads_of(polden_hill=0.4, dolphin=0.3, headstud=0.3))
    assert {"fixing", "surface", "length"} <= set(everything)
    seen = Observed(fixing="hinged", surface="none seen", length_mm=Measure(50))
    left = asked(leads_of(seen, polden_hill=0.4, dolphin=0.3, headstud=0.3))
    assert not {"fixing", "surface", "length"} & set(left)
    # Nor by way of a sentence about the spring.
    for one in what_next(leads_of(dolphin=0.5, polden_hill=0.5), TYPES, seen):
        assert "spring" not in one.why


def test_a_broken_find_is_measured_for_what_it_is_worth() -> None:
    whole = asked(leads_of(great_square_headed=0.5, button_brooch=0.5))
    broken = Observed(completeness="less than half")
    part = asked(leads_of(broken, great_square_headed=0.5, button_brooch=0.5))
    assert 0 < part["length"] < whole["length"]
    assert "weight" not in part
    found = what_next(leads_of(broken, great_square_headed=0.5, button_brooch=0.5), TYPES)
    assert any("at least so long" in one.question for one in found)


def test_without_odds_or_without_a_choice() -> None:
    assert what_next(leads_of(polden_hill=1.0), TYPES) == []
    assert what_next(leads_of(), TYPES) == []
    even = what_next(leads_of(polden_hill=None, dolphin=None), TYPES)
    assert even == what_next(leads_of(polden_hill=0.5, dolphin=0.5), TYPES)
    assert len(what_next(leads_of(polden_hill=0.5, dolphin=0.5), TYPES, most=1)) == 1
    assert json.loads(json.dumps([one.to_dict() for one in even]))[0]["observation"] == "fixing"
