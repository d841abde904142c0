"""One tiny run of the training, for real: what it draws, what it writes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import torch
from safetensors.torch import load_file, save_file

from simsearch.encode.network import Network
from simsearch.synthetic import train as training
from simsearch.synthetic.train import HELD_OUT, Forms, Run
from simsearch.synthetic.typed import typed_ids

TINY = Run(
    seconds=10, forms=2, typed=0.0, size=32, chunk=4, warm_up=2, workers=0, pairs=4, compiled=False
)


class Clock:
    """Stands still until so many steps have been rendered, then the time is up."""

    def __init__(self, steps: int) -> None:
        self.left = steps
        self.now = 0.0

    def time(self) -> float:
        self.now += 0.0 if self.left > 0 else 1e6
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Two steps on the CPU, whatever there is."""
    clock, pictures = Clock(2), training.pictures

    def counted(*arguments: object, **more: object) -> object:
        clock.left -= 1
        return pictures(*arguments, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(training, "pictures", counted)
    monkeypatch.setattr(training, "time", clock)
    monkeypatch.setattr(training.torch.cuda, "is_available", lambda: False)
    return clock


def test_two_steps_write_weights_that_the_network_loads(tmp_path: Path, clock: Clock) -> None:
    path = training.train(TINY, tmp_path / "run")
    assert clock.left == 0
    weights = load_file(path)
    assert path.parent == tmp_path / "run" and not (path.parent / "weights.part").exists()
    assert all(v.dtype == torch.float16 and torch.isfinite(v).all() for v in weights.values())
    torch.manual_seed(TINY.seed)
    fresh, net = Network(), Network()
    found = net.load_state_dict({k: v.float() for k, v in weights.items()}, strict=False)
    assert not found.unexpected_keys
    assert all(k.endswith("num_batches_tracked") for k in found.missing_keys)
    before, after = (dict(n.named_parameters())["to_vector.weight"] for n in (fresh, net))
    moved = float((after - before).detach().abs().max())
    assert 1e-4 < moved < 0.1  # it has learned something, and has not run away
    log = (path.parent / "log.txt").read_text()
    assert [line.split()[2] for line in log.splitlines()] == ["0", "1"]
    assert "nan" not in log
    vector = net.eval()(torch.rand(2, 3, 64, 64)).vector
    torch.testing.assert_close(vector.norm(dim=1), torch.ones(2))


def test_training_goes_on_from_weights(
    tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock.left = 0
    marked = {"power": torch.tensor(0.25)}
    save_file(marked, tmp_path / "start.safetensors")
    path = training.train(TINY, tmp_path / "run", start_from=tmp_path / "start.safetensors")
    assert float(load_file(path)["power"]) == 0.25


# ---- what it is shown -----------------------------------------------------------------------
def test_held_out_types_are_types_and_never_drawn() -> None:
    assert set(HELD_OUT) < set(typed_ids())
    forms = Forms(TINY)
    assert not set(forms.ids) & set(HELD_OUT)
    assert set(forms.ids) | set(HELD_OUT) == set(typed_ids())


def test_typed_forms_of_a_step_come_from_the_ids_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []
    real = training.typed_form

    def noted(type_id: str, rng: np.random.Generator) -> object:
        drawn.append(type_id)
        return real(type_id, rng)

    monkeypatch.setattr(training, "typed_form", noted)
    forms = Forms(replace(TINY, forms=60, typed=1.0))
    item = forms.step(np.random.default_rng(0))
    assert len(drawn) == 120 and not set(drawn) & set(HELD_OUT)
    assert [forms.ids[i] for i in item["label"]] == drawn


def test_a_step_holds_two_specimens_of_each_form() -> None:
    forms = Forms(replace(TINY, forms=12, typed=0.25))
    item = forms.step(np.random.default_rng(1))
    label = item["label"]
    assert len(label) == 24 and (label[::2] == label[1::2]).all()
    assert (label[:6] < len(forms.ids)).all() and (label[6:] >= len(forms.ids)).all()
    assert len(set(label[6:].tolist())) == 9
    scale = item["arrays"]["scale"]
    assert len(scale) == 24 and (scale[::2] != scale[1::2]).all()


def test_pictures_are_four_of_each_form_in_the_order_of_their_labels() -> None:
    run = replace(TINY, forms=2)
    item = Forms(run).step(np.random.default_rng(2))
    chunks, label = training.pictures(item, run, torch.device("cpu"))
    assert label.tolist() == np.repeat(item["label"], 2).tolist()
    assert [tuple(c.picture.shape) for c in chunks] == [(4, 3, 32, 32)] * 2
    again, _ = training.pictures(item, run, torch.device("cpu"))
    assert torch.equal(chunks[0].picture, again[0].picture)
    assert not torch.equal(chunks[0].picture[0], chunks[0].picture[1])


def test_pictures_grow_harder_and_then_stay_so() -> None:
    start, middle, end = (training.training_shot(s) for s in (0.0, 0.15, 1.0))
    assert start.kept[0] > middle.kept[0] > end.kept[0] > 0
    assert start.tilt < middle.tilt < end.tilt and start.losses < end.losses == 1
    assert training.training_shot(0.5) == end


def test_the_rate_warms_up_and_falls() -> None:
    run = replace(TINY, warm_up=10)
    warming = [training._rate(run, step, 0.0) for step in range(10)]
    assert warming == sorted(warming) and warming[-1] == pytest.approx(run.rate)
    falling = [training._rate(run, 100, share) for share in (0, 0.25, 0.5, 1, 2)]
    assert falling == sorted(falling, reverse=True) and falling[-1] > 0


def test_right_first_counts_nearest_neighbours() -> None:
    vector = torch.nn.functional.normalize(
        torch.tensor([[1.0, 0], [1, 0.1], [0, 1], [-1, 0.2], [-1, 0.3]]), dim=1
    )
    form = torch.tensor([0, 0, 1, 2, 2])
    assert training.right_first(vector, form, torch.zeros(5)) == pytest.approx(4 / 5)
