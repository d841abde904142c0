"""Weighing observations in on the page: fields read, leads moved, words shown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

import simsearch.encode
from simsearch.leads.observed import Measure, Observed
from simsearch.page.observing import given_words, read_observed
from simsearch.page.refine import Looked, look_at, render_under, typed, weigh_in
from simsearch.page.remembered import Remembered
from simsearch.sets.reference_set import ReferenceSet, open_set
from tests.page.small_set import COLOURS, make_small_set
from tests.page.test_render import Read, tray_of
from tests.tiny_set import GridEncoder


class Counting(GridEncoder):
    """Counts how often photos are encoded."""

    embedded = 0

    def embed(self, images: Sequence[Image.Image]) -> Any:
        """As the small encoder does."""
        Counting.embedded += len(images)
        return super().embed(images)


@pytest.fixture
def reference(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ReferenceSet:
    folder = make_small_set(tmp_path / "set")
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": Counting(name))
    Counting.embedded = 0
    return open_set(folder)


@pytest.fixture
def looked(reference: ReferenceSet) -> Looked:
    found = look_at(tray_of(COLOURS["knee"]), reference)[1]
    assert found is not None
    return found


def test_fields_become_observations() -> None:
    seen, problems = read_observed(
        {"length": "38,5", "error": "2", "broken": "yes", "fixing": "sprung", "nearby": "Roman"}
    )
    assert problems == {} and seen is not None
    assert seen.length_mm == Measure(38.5, 2.0, "broken")
    assert seen.fixing == "sprung"
    assert seen.nearby is not None and seen.nearby.edtf == "0043/0410~"
    assert given_words(seen) == (
        "length 38.5 mm (give or take 2, broken); pin sprung; things nearby AD 43 - c. AD 410"
    )


def test_nothing_typed_is_no_observation() -> None:
    assert read_observed({"length": " ", "material": ""}) == (None, {})


@pytest.mark.parametrize(
    ("fields", "name", "says"),
    [
        ({"length": "about 4 cm"}, "length", "Write figures only, in mm"),
        ({"length": "0"}, "length", "more than 0"),
        ({"width": "3000"}, "width", "up to 2000"),
        ({"weight": "99999"}, "weight", "up to 20000"),
        ({"material": "plastic"}, "material", "Use one of"),
        ({"nearby": "yesterday"}, "nearby", "no period known here"),
        ({"length": "30", "width": "40"}, "length", "The width (40 mm) is more than the length"),
        ({"length": "30", "broken": "yes", "completeness": "complete"}, "broken", "Say which"),
        ({"broken": "yes"}, "broken", "Give the length too"),
        ({"error": "x", "length": "30"}, "error", "no number"),
    ],
)
def test_a_problem_stands_with_its_field(fields: dict[str, str], name: str, says: str) -> None:
    seen, problems = read_observed(fields)
    assert seen is None
    assert set(problems) == {name}
    assert says in problems[name]


def test_weighing_in_moves_leads_as_the_set_itself_does(
    reference: ReferenceSet, looked: Looked
) -> None:
    html, now, under = weigh_in(looked, {"fixing": "hinged", "length": "50"}, reference)
    assert now is not None
    observed = Observed(length_mm=Measure(50, 1), fixing="hinged")
    photos = [photo.image for photo in looked.tray.photos]
    asked = reference.look(photos, observed=observed)
    assert now.leads.to_dict() == asked.to_dict()
    page = Read(html)
    assert "with what you observed; by the photo alone" in page.text
    assert "of such leads were right in our tests" not in page.text
    assert asked.leads[0].reasons[0].words in page.text
    assert "Weighed in: length 50 mm (give or take 1); pin hinged." in Read(under).text


def test_photos_are_encoded_once(reference: ReferenceSet, looked: Looked) -> None:
    assert Counting.embedded == 1
    weigh_in(looked, {"fixing": "sprung"}, reference)
    weigh_in(looked, {}, reference)
    assert Counting.embedded == 1


def test_a_wrong_field_leaves_the_leads_and_what_was_typed(
    reference: ReferenceSet, looked: Looked
) -> None:
    html, kept, under = weigh_in(looked, {"length": "long", "material": "iron"}, reference)
    assert not isinstance(html, str)  # the leads on the page are left alone
    assert kept is not None and kept.leads is looked.leads
    page = Read(under)
    field = next(part for part in page.all("input") if part.get("name") == "length")
    assert field["value"] == "long" and field["aria-invalid"] == "true"
    assert field["aria-describedby"] == "ss-told-length"
    assert "Write figures only" in page.text
    assert "<option selected>iron</option>" in under


def test_taking_everything_away_gives_the_photos_leads_back(
    reference: ReferenceSet, looked: Looked
) -> None:
    _, weighed, _ = weigh_in(looked, {"fixing": "hinged"}, reference)
    _, again, _ = weigh_in(weighed, {"fixing": ""}, reference)
    assert again is not None
    assert again.leads.to_dict() == looked.leads.to_dict()


def test_dates_together_and_what_to_look_at_next(reference: ReferenceSet, looked: Looked) -> None:
    page = Read(render_under(looked, reference))
    assert "Most likely c. AD" in page.text
    assert "What to look at next" in page.text
    assert page.all("svg")


def test_leads_that_are_gone_are_told(reference: ReferenceSet) -> None:
    _, kept, under = weigh_in(None, {"length": "3"}, reference)
    assert kept is None
    assert "Look for leads" in under


def test_what_a_browser_sends_is_cut_to_size() -> None:
    assert typed(["length"]) == {}
    sent = typed({"length": 3.5, "broken": True, "note": "x" * 30_000, "other": None})
    assert sent == {"length": "3.5", "broken": "yes", "note": "x" * 20_000, "other": ""}


def test_the_remembered_encoder_offers_what_the_encoder_does() -> None:
    plain = Remembered(GridEncoder())
    assert not hasattr(plain, "masks")
    assert plain.fingerprint == GridEncoder().fingerprint
