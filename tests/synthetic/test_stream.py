"""The stream of pictures: what is drawn, what lies on the shelf, what variation does."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import torch

from simsearch.synthetic import stream
from simsearch.synthetic.batch import pack
from simsearch.synthetic.endless import sisters
from simsearch.synthetic.jitter import jittered
from simsearch.synthetic.stream import HELD_OUT, Drawn, Pictures, Shelf, Supply, rendered, varied
from simsearch.synthetic.typed import typed_ids

SUPPLY = Supply(units=2, typed=0.5, size=32, chunk=8, shelf=2, workers=0)
CPU = torch.device("cpu")


@pytest.fixture(scope="module")
def pictures() -> Pictures:
    return rendered(Drawn(SUPPLY).draw(np.random.default_rng(3)), SUPPLY, CPU)


def _generator() -> torch.Generator:
    return torch.Generator().manual_seed(0)


# ---- what is drawn --------------------------------------------------------------------------
def test_held_out_types_are_types_and_never_drawn(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []
    real = stream.typed_form

    def noted(type_id: str, rng: np.random.Generator) -> object:
        drawn.append(type_id)
        return real(type_id, rng)

    monkeypatch.setattr(stream, "typed_form", noted)
    forms = Drawn(replace(SUPPLY, units=20, typed=1.0))
    item = forms.draw(np.random.default_rng(0))
    assert set(forms.ids) == set(typed_ids()) - set(HELD_OUT) and set(HELD_OUT) < set(typed_ids())
    assert len(drawn) == 160 and not set(drawn) & set(HELD_OUT)
    assert [forms.ids[i] for i in item["label"]] == drawn


def test_an_item_holds_two_specimens_of_each_form() -> None:
    forms = Drawn(replace(SUPPLY, units=4, typed=0.25))
    item = forms.draw(np.random.default_rng(1))
    label, rows = item["label"], item["rows"]
    assert len(label) == len(rows) == 32 and (label[::2] == label[1::2]).all()
    assert (label[:8] < len(forms.ids)).all() and len(set(label[8:].tolist())) == 12
    # Specimens of named types are drawn one by one, those of endless forms share what is packed.
    assert (rows[:8] == np.arange(8)).all() and (rows[8::2] == rows[9::2]).all()
    assert len(item["arrays"]["scale"]) == 8 + 12


def test_pictures_grow_harder_and_then_stay_so() -> None:
    start, middle, end = (stream.training_shot(s) for s in (0.0, 0.1, 1.0))
    assert start.kept[0] > middle.kept[0] > end.kept[0] > 0
    assert start.tilt < middle.tilt < end.tilt and start.losses < end.losses == 1
    assert stream.training_shot(0.5) == end


def test_specimens_of_an_endless_form_differ_a_little() -> None:
    batch = pack(sisters(np.random.default_rng(0), 4)).repeat(2)
    amount = torch.tensor([0.0, 0.04] * 4)
    other = jittered(batch, amount, _generator())
    moved = [
        (other.solids[k].centre - s.centre).abs().amax((1, 2)) for k, s in batch.solids.items()
    ]
    most = torch.stack(moved).amax(0)
    assert (most[::2] == 0).all() and (most[1::2] > 0).all() and most.max() < 0.03
    rods = other.solids["rod"].size
    assert ((rods[..., 0] - rods[..., 1]).abs() <= 0.95 * rods[..., 2] + 1e-5).all()


# ---- what comes out -------------------------------------------------------------------------
def test_four_pictures_of_each_form_in_the_order_of_their_labels(pictures: Pictures) -> None:
    assert pictures.picture.shape == (32, 3, 32, 32) and pictures.picture.dtype == torch.uint8
    label = pictures.label.reshape(-1, 4)
    assert (label == label[:, :1]).all()
    again = rendered(Drawn(SUPPLY).draw(np.random.default_rng(3)), SUPPLY, CPU)
    assert torch.equal(pictures.picture, again.picture)
    assert not torch.equal(pictures.picture[0], pictures.picture[1])


def test_the_shelf_keeps_the_last_renders_and_gives_endless_forms_new_labels(
    pictures: Pictures,
) -> None:
    named = len(Drawn(SUPPLY).ids)
    shelf = Shelf(SUPPLY, named)
    for _ in range(3):
        shelf.put(pictures)
    some = shelf.take(4, _generator())
    assert len(some.label) == 4 * 16
    assert (some.label.reshape(-1, 4) == some.label[::4, None]).all()
    endless = some.label[some.label >= named].reshape(-1, 4)[:, 0]
    assert len(set(endless.tolist())) == 8  # the same forms put twice count as others


def test_forms_taken_alone_come_without_their_sisters(pictures: Pictures) -> None:
    shelf = Shelf(SUPPLY, len(Drawn(SUPPLY).ids))
    shelf.put(pictures)
    shelf.put(pictures)
    some = shelf.take(1, _generator(), alone=True)
    assert len(some.label) == 4 * 4
    first = shelf._kept[0].picture.flatten(1).float()
    own = torch.cdist(some.picture.flatten(1).float(), first).argmin(1)
    assert (own % 16 < 4).all()  # the first form of each unit


# ---- variation ------------------------------------------------------------------------------
def test_points_follow_the_picture(pictures: Pictures) -> None:
    straight, mask = pictures.points(32)
    torch.testing.assert_close(straight, pictures.point.float())
    assert torch.equal(mask, pictures.mask)
    quarter = torch.tensor([[0.0, 1, 0], [-1, 0, 0]]).expand(32, 2, 3)
    turned, mask = replace(pictures, affine=quarter).points(32)
    torch.testing.assert_close(turned, pictures.point.float().rot90(-1, (1, 2)))
    assert torch.equal(mask, pictures.mask.rot90(-1, (1, 2)))


def test_variation_moves_mask_and_picture_together(pictures: Pictures) -> None:
    red = (pictures.mask[:, None] * torch.tensor([255.0, 0, 0])[:, None, None]).to(torch.uint8)
    other = varied(replace(pictures, picture=red), _generator())
    assert other.picture.min() >= 0 and other.picture.max() <= 1
    seen = other.picture[:, 0] > 0.3
    _, mask = other.points(32)
    inner = torch.zeros_like(seen)
    inner[:, 8:24, 8:24] = True  # beyond the edges a picture is mirrored, its maps are not
    agree = (seen == mask)[inner].float().mean()
    assert agree > 0.93
    assert not torch.equal(mask, pictures.mask)
    ratio = other.half / pictures.half
    assert ((ratio > 0.89) & (ratio < 1.21)).all()
