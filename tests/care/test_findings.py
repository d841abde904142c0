"""Labels, gaps, notes, opinions and consent: what is told and what is not."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from simsearch.care.actions import Actions
from simsearch.care.confusions import confusion_findings, confusion_picture, confusions_of
from simsearch.care.gaps import (
    consent_findings,
    gap_findings,
    licence_findings,
    opinion_findings,
)
from simsearch.care.labels import doubts, label_findings, ranked
from simsearch.care.notes import dates_in, note_findings
from simsearch.care.quality import metadata_findings
from simsearch.care.worth import worth_of
from simsearch.sets.opinions import Opinion
from simsearch.sets.private import PrivateRow
from simsearch.sets.reference_set import open_set
from tests import tiny_set
from tests.care.small import looked_up, row

DO = Actions("my set")


@pytest.fixture(scope="module")
def types(tmp_path_factory: pytest.TempPathFactory) -> dict:
    folder = tiny_set.make_set(tmp_path_factory.mktemp("care") / "set")
    return dict(open_set(folder).types)


def clear_set(wrong: bool) -> tuple:
    """Two types at right angles, three objects each; one may carry the other's label."""
    rows = [row(f"k{i}", "knee") for i in range(3)] + [row(f"d{i}", "dolphin") for i in range(3)]
    near = [(1, 0.1 * i, 0) for i in range(3)] + [(0.1 * i, 1, 0) for i in range(3)]
    if wrong:
        rows[2] = row("k2", "dolphin")
    return rows, near


def test_a_wrong_label_comes_first(types: dict) -> None:
    found = looked_up(*clear_set(wrong=True))
    first = ranked(found)[0]
    assert (first.row.id, first.nearest) == ("k2", "knee")
    (told, *_) = label_findings(found, types, DO)
    assert told.photos == ("k2",) and told.types == ("dolphin", "knee")
    assert "look-alikes" in told.what
    assert told.action.command.startswith("simsearch opinion 'my set' k2")


def test_right_labels_are_not_doubted(types: dict) -> None:
    found = looked_up(*clear_set(wrong=False))
    assert (doubts(found) < 0).all()
    assert label_findings(found, types, DO) == []


def test_photos_of_the_same_object_do_not_speak_for_one_another() -> None:
    """Two photos of one object, both with the same wrong label, are doubted all the same."""
    rows, near = clear_set(wrong=True)
    found = looked_up([*rows, row("k2b", "dolphin", specimen="k2")], [*near, near[2]])
    assert {one.row.id for one in ranked(found)[:2]} == {"k2", "k2b"}


def test_a_type_with_one_object_is_not_doubted() -> None:
    rows, near = clear_set(wrong=False)
    found = looked_up([*rows, row("j", "jetton")], [*near, (1, 1, 0)])
    assert np.isneginf(doubts(found)[-1])
    assert "j" not in [one.row.id for one in ranked(found)]


def test_how_good_a_set_is_can_be_counted_by_hand(types: dict) -> None:
    worth = worth_of(looked_up(*clear_set(wrong=True)), types)
    # Of the six, five come first; the wrongly labelled one does not. It is an object of dolphin.
    assert worth.first is not None and worth.first.share == pytest.approx(5 / 6)
    dolphin = next(one for one in worth.types if one.type_id == "dolphin")
    assert dolphin.first is not None and dolphin.first.share == pytest.approx(3 / 4)
    assert "of 10 photos whose object the set has not seen, about 8 put it first" in dolphin.words
    assert dolphin.first.low < 0.75 < dolphin.first.high


def test_one_object_says_nothing(types: dict) -> None:
    rows, near = clear_set(wrong=False)
    worth = worth_of(looked_up([*rows, row("j", "jetton")], [*near, (0, 0, 1)]), types)
    jetton = next(one for one in worth.types if one.type_id == "jetton")
    assert jetton.first is None and "nothing can be said" in jetton.words
    assert worth.photos == 6


def test_types_taken_for_one_another_are_counted_and_drawn(types: dict) -> None:
    rows = [row(f"{kind}{i}", kind) for kind in ("knee", "dolphin", "jetton") for i in range(4)]
    near = [(1, 0.02 * i, 0) for i in range(4)]
    near += [(1, 0.01 + 0.02 * i, 0) for i in range(4)] + [(0, 0.02 * i, 1) for i in range(4)]
    found = confusions_of(looked_up(rows, near), types)
    assert found.nearest.sum() == 12
    jetton = found.order.index("jetton")
    assert found.nearest[jetton].tolist() == [4 if i == jetton else 0 for i in range(3)]
    told = confusion_findings(found, types, DO)
    assert told and all("lists them as look-alikes" in one.what for one in told)
    picture = confusion_picture(found, types)
    import xml.etree.ElementTree as reader

    root = reader.fromstring(picture)
    assert root.get("role") == "img"
    words = "".join(root.find("{http://www.w3.org/2000/svg}desc").itertext())  # type: ignore[union-attr]
    assert "Knee (invented)" in words
    numbers = [int(t.text or 0) for t in root.iter() if "count" in (t.get("class") or "")]
    assert sum(numbers) == 12


def test_gaps_of_types(tmp_path: Path) -> None:
    folder = tiny_set.make_set(tmp_path / "set")
    rows = [
        tiny_set.photo_row(folder, "knee-1", "knee", view="side", completeness="fragment"),
        tiny_set.photo_row(folder, "knee-2", "knee", view="side", completeness="fragment"),
        *(tiny_set.photo_row(folder, f"jetton-{n}", "jetton") for n in (1, 2, 3)),
    ]
    tiny_set.write_photos(folder, rows)
    told = {(one.kind, one.types[0]) for one in gap_findings(open_set(folder), DO)}
    assert told == {
        ("thin type", "knee"), ("no complete", "knee"), ("view missing", "knee"),
        ("no photo", "dolphin"),
    }  # fmt: skip


def test_licence_and_consent() -> None:
    rows = [row("a", "knee"), row("b", "knee", licence=""), row("c", "knee", licence="mine")]
    assert [one.photos[0] for one in licence_findings(rows, DO)] == ["b", "c"]
    private = {"a": PrivateRow("a", "refused"), "b": PrivateRow("b", "given")}
    (told,) = consent_findings(rows, private, DO)
    assert told.photos == ("a",) and told.severity == "mend" and told.action.kind == "withdraw"


def test_what_is_not_said_is_missed() -> None:
    rows = [row("a", "knee"), row("b", "knee", creator="Unknown", labelled_on="")]
    (told,) = metadata_findings(tuple(rows), DO)
    assert told.photos == ("b",)
    assert "who took it or on which day" in told.what


def test_the_last_word_of_each_person_counts() -> None:
    rows = [row("a", "knee"), row("b", "knee")]

    def said(photo: str, kind: str, by: str) -> Opinion:
        return Opinion(photo, photo, kind, by, "2026-02-01", "seen in the hand")

    opinions = [said("a", "dolphin", "Wren"), said("a", "knee", "Wren"), said("b", "knee", "Wren")]
    assert opinion_findings(rows, opinions, DO) == []
    (told,) = opinion_findings(rows, [*opinions, said("b", "jetton", "Teal")], DO)
    assert told.photos == ("b",) and told.types == ("knee", "jetton")


@pytest.mark.parametrize(
    ("note", "years"),
    [
        ("dated AD 120", [(120, 120)]),
        ("about 50 BC", [(-49, -49)]),
        ("a 3rd century piece", [(201, 300)]),
        ("1st century BC, worn", [(-99, 0)]),
        ("c. 1850", [(1850, 1850)]),
        ("taken in 2024, 1200 x 900 pixels, 35 mm long", []),
    ],
)
def test_dates_in_notes(note: str, years: list[tuple[int, int]]) -> None:
    assert [(span.earliest, span.latest) for _, span in dates_in(note)] == years


@pytest.mark.parametrize(
    ("note", "kinds"),
    [
        ("AD 150, on the club's table", []),
        ("18th century", ["date"]),
        ("silver, AD 150", ["material"]),
        ("copper alloy with silver inlay", []),
        ("not silver", []),
        ("a lead to follow", []),
        ("late Iron Age layer", []),
    ],
)
def test_notes_that_contradict_the_type(note: str, kinds: list[str], types: dict) -> None:
    """The tiny set's knee is of copper alloy, AD 100 to 200."""
    told = note_findings([row("a", "knee", note=note)], types, DO)
    assert [one.kind for one in told] == kinds
