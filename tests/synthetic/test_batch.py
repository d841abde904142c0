"""Forms packed into tensors: limits, units, and that trimming and repeating change no distance."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import torch

from simsearch.synthetic.batch import LAYERS, METALS, ROOM, STROKES, Batch, pack, pack_arrays
from simsearch.synthetic.distance import Damage, distance
from simsearch.synthetic.form import Finish, Form, Relief
from simsearch.synthetic.relief import relief
from tests.synthetic.shapes import made

ADD: dict[str, Callable[[Form, float], None]] = {
    "rod": lambda f, y: f.rod("a", (0, y, 0), (1, y, 0), 0.5),
    "ring": lambda f, y: f.ring("a", (0, y, 0), 3, 0.5),
    "slab": lambda f, y: f.slab("a", (0, y, 0), 2, 3),
    "drum": lambda f, y: f.drum("a", (0, y, 0), 2),
    "ball": lambda f, y: f.ball("a", (0, y, 0), 1),
}


def _many(kind: str, count: int) -> Form:
    form = Form("crowd")
    for i in range(count):
        ADD[kind](form, 2.0 * i)
    return form


def _rich() -> Form:
    form = Form("rich")
    form.drum("disc", (0, 0, 0), 10)
    form.drum("hole", (3, 0, 0), 2, height=8, cut=True)
    form.sweep("bow", [(0, 5, 1), (0, 0, 6), (0, -5, 1)], [2, 1])
    form.front.line((0, 0), (3, 3), 1, 0.4)
    form.back.dot((1, 1), 2, -0.3, layer=form.back.layer(5, mirror=True))
    return form


def _plain() -> Form:
    return made(lambda f: f.ball("ball", (1, 2, 3), 4), "plain")


def _values(batch: Batch, points: torch.Tensor) -> list[torch.Tensor]:
    """All that a batch is evaluated for."""
    many = points.expand(len(batch), -1, -1)
    found = [distance(batch.solids, Damage.none(len(batch)), many)]
    for marks in (batch.front, batch.back):
        found += relief(marks, torch.full((len(batch),), 0.01), many[..., :2])
    return found


def _cloud() -> torch.Tensor:
    return torch.rand(1, 300, 3, generator=torch.Generator().manual_seed(0)) * 2 - 1


# ---- limits ---------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", ROOM)
def test_there_is_room_for_so_many_solids_and_no_more(kind: str) -> None:
    pack([_many(kind, ROOM[kind])])
    with pytest.raises(ValueError, match=f"'crowd' has {ROOM[kind] + 1} {kind}s"):
        pack([_many(kind, ROOM[kind] + 1)])


def test_too_many_layers_are_refused() -> None:
    form = _plain()
    for _ in range(LAYERS - 1):
        form.front.layer(3)
    pack([form])
    form.front.layer(3)
    with pytest.raises(ValueError, match="relief layers"):
        pack([form])


def test_too_many_strokes_on_a_repeated_layer_are_refused() -> None:
    form = _plain()
    layer = form.back.layer(3)
    for i in range(STROKES + 1):
        form.back.dot((0.1 * i, 0), 0.2, 0.1, layer=layer)
    with pytest.raises(ValueError, match=f"layer {layer} has over {STROKES}"):
        pack([form])


def test_unrepeated_strokes_spill_over_and_are_still_drawn() -> None:
    spilt, count = _plain(), STROKES + 5
    at = np.linspace(-3, 3, count)
    for x in at:
        spilt.front.dot((x, 0), 0.05, 0.5)
    batch = pack([spilt])
    xy = torch.zeros(1, count, 2)
    xy[0, :, 0] = torch.from_numpy(at) - batch.middle[0, 0]
    xy[0, :, 1] = -batch.middle[0, 1]
    height, _ = relief(batch.front, torch.tensor([1e-4]), xy / batch.scale[0])
    torch.testing.assert_close(height * batch.scale[0], torch.full((1, count), 0.5))


def test_more_strokes_than_all_layers_hold_are_refused() -> None:
    form = _plain()
    for _ in range(LAYERS * STROKES + 1):
        form.front.dot((0, 0), 0.2, 0.1)
    with pytest.raises(ValueError, match="more relief strokes"):
        pack([form])


# ---- units ----------------------------------------------------------------------------------
def test_the_box_of_a_form_has_half_a_diagonal_of_one() -> None:
    form = made(lambda f: f.slab("plate", (5, 6, 7), 20, 10, thickness=4))
    batch = pack([form])
    assert float(batch.scale[0]) == pytest.approx(np.sqrt(10**2 + 5**2 + 2**2), rel=1e-5)
    np.testing.assert_allclose(batch.middle[0].numpy(), [5, 6, 7], atol=1e-5)


def test_every_form_lies_in_the_unit_ball() -> None:
    points = torch.nn.functional.normalize(_cloud(), dim=-1) * 1.001
    batch = pack([_rich(), _plain()])
    assert (distance(batch.solids, Damage.none(2), points.expand(2, -1, -1)) > 0).all()


def test_a_form_twice_as_large_packs_the_same_but_for_its_scale() -> None:
    def drawn(k: float) -> Form:
        f = Form("test")
        f.rod("a", (0, 0, 0), (0, 20 * k, 0), 3 * k, k, ridges=(0.3 * k, 8))
        f.ring("b", (0, 5 * k, 0), 8 * k, k, gap=40)
        f.slab("c", (0, 0, 0), 9 * k, 8 * k, thickness=2 * k, bevel=0.2 * k)
        f.drum("d", (0, 9 * k, 0), 4 * k, height=3 * k, bevel=0.2 * k)
        f.front.line((0, 0), (k, 2 * k), 0.5 * k, 0.1 * k)
        return f

    one, two = (pack_arrays([drawn(k)]) for k in (1.0, 2.0))
    assert two["scale"][0] == pytest.approx(2 * one["scale"][0])
    for key in set(one) - {"scale", "middle"}:
        np.testing.assert_allclose(one[key], two[key], atol=1e-5, err_msg=key)


def test_metals_are_shares() -> None:
    form = _plain()
    form.finish = Finish((("iron", 3.0), ("lead", 1.0)), tinned=0.2, gilt=0.1)
    batch = pack([form])
    shares = dict(zip(METALS, batch.metals[0].tolist(), strict=True))
    assert shares["iron"] == pytest.approx(0.75) and shares["lead"] == pytest.approx(0.25)
    assert sum(shares.values()) == pytest.approx(1)
    assert batch.coating[0].tolist() == pytest.approx([0.2, 0.1])


def test_parts_are_named_in_order_of_use() -> None:
    batch = pack([_rich(), _plain()])
    assert batch.parts == [["disc", "hole", "bow"], ["ball"]] and batch.names == ["rich", "plain"]
    rods = batch.solids["rod"]
    assert rods.part[0, : int(rods.here[0].sum())].tolist() == [2, 2]


# ---- trimmed, repeated, moved ---------------------------------------------------------------
def test_trimming_changes_nothing_but_the_room() -> None:
    batch = pack([_rich(), _plain()])
    small = batch.trimmed()
    for kind in ("ring", "drum"):
        assert small.solids[kind].here.shape[1] < ROOM[kind]
    assert small.front.strokes.shape[1:3] < (LAYERS, STROKES)
    for before, after in zip(_values(batch, _cloud()), _values(small, _cloud()), strict=True):
        torch.testing.assert_close(before, after, atol=1e-6, rtol=0)


def test_trimming_keeps_a_mark_that_tapers_from_nothing() -> None:
    form = _plain()
    form.front.line((0, 2), (1, 4), 0.0, 0.5, end_width=2.0)
    batch = pack([form])
    for before, after in zip(
        _values(batch, _cloud()), _values(batch.trimmed(), _cloud()), strict=True
    ):
        torch.testing.assert_close(before, after, atol=1e-6, rtol=0)
    assert _values(batch, _cloud())[1].abs().max() > 0.01


def test_repeat_gives_each_form_in_a_row() -> None:
    batch = pack([_rich(), _plain()])
    often = batch.repeat(3)
    assert often.names == ["rich"] * 3 + ["plain"] * 3 and len(often) == 6
    assert often.parts[2] == batch.parts[0] and often.parts[3] == batch.parts[1]
    once, thrice = _values(batch, _cloud()), _values(often, _cloud())
    for before, after in zip(once, thrice, strict=True):
        torch.testing.assert_close(before[[0, 0, 0, 1, 1, 1]], after)
    torch.testing.assert_close(often.scale, batch.scale[[0, 0, 0, 1, 1, 1]])
    torch.testing.assert_close(often.metals, batch.metals[[0, 0, 0, 1, 1, 1]])


def test_to_a_device_keeps_everything() -> None:
    batch = pack([_rich()])
    for before, after in zip(
        _values(batch, _cloud()), _values(batch.to("cpu"), _cloud()), strict=True
    ):
        assert torch.equal(before, after)


def test_relief_of_one_face_does_not_show_on_the_other() -> None:
    form = _plain()
    form.front = Relief()
    form.front.dot((1, 2), 1, 0.5)
    _, front, _, back, _ = _values(pack([form]), _cloud())
    assert front.abs().max() > 0.01 and not back.any()
