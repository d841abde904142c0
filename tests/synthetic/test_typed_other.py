"""Forms of plate brooches, long brooches, rings and small finds.

Which parts a type must show follows its description in the trade: a penannular has a free pin
and knobs or coils, a key has bow, stem and bit, and so on (from memory of the type literature
named in types.csv).
"""

from __future__ import annotations

import numpy as np
import pytest

from simsearch.synthetic.batch import METALS, pack_arrays
from simsearch.synthetic.form import LOSS, Form
from simsearch.synthetic.typed import typed_form, typed_ids

PARTS = {
    "dragonesque": {"body", "ear", "snout tip", "pin"},
    "umbonate-disc": {"plate", "dome", "lug", "catch", "pin"},
    "lozenge-plate": {"plate", "knob", "lug", "catch", "pin"},
    "early-disc": {"plate", "lug", "spring", "catch", "pin"},
    "saucer": {"dish", "lug", "catch", "pin"},
    "button-brooch": {"dish", "lug", "catch", "pin"},
    "trefoil": {"arm", "middle", "lug", "catch", "pin"},
    "cruciform": {"head", "knob", "bow", "foot", "horse head", "lug", "catch", "pin"},
    "small-long": {"head", "bow", "foot", "lug", "catch", "pin"},
    "great-square-headed": {"head", "bow", "foot", "lug", "catch", "pin"},
    "ansate": {"terminal", "bow", "lug", "catch", "pin"},
    "penannular-a": {"hoop", "knob", "pin"},
    "penannular-c": {"hoop", "coil tip", "pin"},
    "medieval-annular": {"frame", "pin"},
    "buckle-single-loop": {"frame", "bar", "pin"},
    "buckle-double-loop": {"frame", "bar"},
    "strap-end-class-a": {"butt", "body", "head"},
    "hairpin-globular": {"head", "shaft", "tip"},
    "button-cast-loop": {"disc", "spigot", "loop"},
    "rotary-key": {"bow", "stem", "bit"},
    "lead-shot": {"ball"},
    "short-cross-penny": {"flan"},
    "modern-replica": {"tube", "needle", "safety"},
}
#: Least and greatest span in mm that a specimen of the type may have (types.csv, with margin).
SPANS = {
    "button-brooch": (14, 26), "cruciform": (50, 160), "short-cross-penny": (16, 22),
    "lead-shot": (8, 24), "hairpin-globular": (40, 115), "rotary-key": (25, 120),
    "great-square-headed": (85, 165), "saucer": (25, 62), "medieval-annular": (14, 45),
}  # fmt: skip
IDS = sorted(PARTS)


def _form(type_id: str, seed: int) -> Form:
    return typed_form(type_id, np.random.default_rng(seed))


def test_every_type_has_a_maker() -> None:
    assert set(PARTS) <= set(typed_ids())


@pytest.mark.parametrize("type_id", IDS)
def test_packs_within_the_room_there_is(type_id: str) -> None:
    arrays = pack_arrays([_form(type_id, seed) for seed in range(50)])
    assert all(np.isfinite(values).all() for values in arrays.values())
    assert (arrays["scale"] > 3).all()


@pytest.mark.parametrize("type_id", IDS)
def test_same_seed_same_form(type_id: str) -> None:
    first, again = pack_arrays([_form(type_id, 5)]), pack_arrays([_form(type_id, 5)])
    for key in first:
        np.testing.assert_array_equal(first[key], again[key])


@pytest.mark.parametrize("type_id", IDS)
def test_specimens_differ_in_size(type_id: str) -> None:
    scales = pack_arrays([_form(type_id, seed) for seed in range(20)])["scale"]
    assert scales.std() / scales.mean() > 0.02


@pytest.mark.parametrize("type_id", IDS)
def test_shows_the_parts_of_its_type(type_id: str) -> None:
    for seed in range(20):
        assert PARTS[type_id] <= set(_form(type_id, seed).parts())


@pytest.mark.parametrize("type_id", IDS)
def test_something_is_left_when_fragile_parts_are_lost(type_id: str) -> None:
    for seed in range(20):
        solids = _form(type_id, seed).solids
        kept = [s for s in solids if not s.cut and s.part.split()[-1] not in LOSS]
        assert kept


@pytest.mark.parametrize("type_id", sorted(SPANS))
def test_sizes_are_those_of_the_type(type_id: str) -> None:
    low, high = SPANS[type_id]
    for seed in range(50):
        lower, upper = _form(type_id, seed).bounds()
        assert low <= float((upper - lower)[:2].max()) <= high


@pytest.mark.parametrize(
    ("type_id", "metal"),
    [("lead-shot", "lead"), ("short-cross-penny", "silver"), ("hairpin-globular", "bone"),
     ("rotary-key", "iron")],
)  # fmt: skip
def test_metal_is_that_of_the_type(type_id: str, metal: str) -> None:
    chances = pack_arrays([_form(type_id, 0)])["metals"][0]
    assert METALS[int(chances.argmax())] == metal


def test_penannulars_are_open_and_annulars_closed() -> None:
    for type_id, part in (("penannular-a", "hoop"), ("penannular-c", "hoop")):
        hoop = next(s for s in _form(type_id, 3).solids if s.kind == "ring" and s.part == part)
        assert hoop.size[3] > -0.97  # cosine of half the arc: -1 is a closed ring
    annular = _form("medieval-annular", 3)
    assert any(s.kind == "rod" and s.part == "frame" for s in annular.solids)  # bridges the gap


def test_a_coin_is_struck_on_both_faces() -> None:
    coin = _form("short-cross-penny", 1)
    assert coin.front.strokes and coin.back.strokes


def test_a_modern_brooch_keeps_nothing_of_the_old_pin() -> None:
    for seed in range(30):
        parts = set(_form("modern-replica", seed).parts())
        assert not parts & {"pin", "spring", "catch", "lug", "loop"}
