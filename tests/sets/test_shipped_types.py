"""The shipped types and sources load, and hold what the design fixed."""

from __future__ import annotations

from pathlib import Path

import pytest

from simsearch.sets.reference_set import shipped_set_folder
from simsearch.sets.sources import load_sources
from simsearch.sets.types import Type, load_types

TYPE_IDS = """la-tene-i-bow la-tene-ii-bow nauheim-derivative boss-on-bow birdlip langton-down
rosette aesica colchester colchester-derivative-harlow colchester-derivative-rearhook polden-hill
dolphin t-shaped-initial t-shaped-developed aucissa hod-hill trumpet headstud bow-and-fantail
dragonesque umbonate-disc lozenge-plate zoomorphic-plate knee p-shaped crossbow penannular-a
penannular-c penannular-d cruciform small-long great-square-headed saucer button-brooch early-disc
annular-anglo-saxon ansate trefoil medieval-annular buckle-single-loop buckle-double-loop
strap-end-class-a hairpin-globular hooked-tag button-cast-loop rotary-key slide-key
short-cross-penny voided-long-cross-penny roman-radiate-nummus jetton lead-shot spindle-whorl
crotal-bell thimble modern-replica"""


@pytest.fixture(scope="module")
def types() -> dict[str, Type]:
    folder: Path = shipped_set_folder()
    sources = load_sources(folder / "sources.csv")
    return dict(load_types(folder / "types.csv", source_ids=sources))


def test_every_type_that_others_rely_on_is_there(types: dict[str, Type]) -> None:
    assert not set(TYPE_IDS.split()) - types.keys()


def test_every_type_can_be_shown(types: dict[str, Type]) -> None:
    for kind in types.values():
        assert kind.features, kind.id
        assert kind.checks, kind.id
        assert kind.look_alikes, kind.id
        assert kind.sources or kind.basis == "from memory", kind.id


def test_lead_and_coins_carry_their_cautions(types: dict[str, Type]) -> None:
    assert "ammunition" in types["lead-shot"].cautions
    assert "lead" in types["lead-shot"].cautions
    assert "modern-copy" in types["modern-replica"].cautions
    assert types["modern-replica"].dates.latest is None
