"""One tiny run of the training, for real: what it draws, what it learns, what it writes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import torch
from safetensors import safe_open
from safetensors.torch import load_file

from simsearch.encode.builtin import BuiltIn
from simsearch.encode.network import Network, Shape
from simsearch.synthetic import train as training
from simsearch.synthetic.stream import Supply
from simsearch.synthetic.train import Learner, Recipe, Run

SMALL = Shape(stem=8, widths=(8, 16, 24, 32), blocks=(1, 1, 1, 1), dim=16, patch_dim=8, mask=8)
SUPPLY = Supply(units=1, typed=0.0, size=32, chunk=16, shelf=2, workers=0)
RECIPE = Recipe(shape=SMALL, units=1, pairs=4)


class Clock:
    """Stands still for so many renders, then the time is up."""

    def __init__(self, renders: int) -> None:
        self.left = renders
        self.now = 0.0

    def time(self) -> float:
        self.now += 0.0 if self.left > 0 else 1e6
        return self.now

    perf_counter = time


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    """Two renders on the CPU, whatever there is."""
    clock, rendered = Clock(2), training.rendered

    def counted(*arguments: object, **more: object) -> object:
        clock.left -= 1
        return rendered(*arguments, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(training, "rendered", counted)
    monkeypatch.setattr(training, "time", clock)
    monkeypatch.setattr(training.torch.cuda, "is_available", lambda: False)
    return clock


def test_two_recipes_learn_from_the_same_pictures(tmp_path: Path, clock: Clock) -> None:
    recipes = [
        replace(RECIPE, name="one"),
        replace(RECIPE, name="other", shape=replace(SMALL, patch=8), alone=True),
    ]
    learners = training.train(Run(uses=1.5, warm_up=1), SUPPLY, recipes, tmp_path)
    assert clock.left == 0 and [learner.recipe.name for learner in learners] == ["one", "other"]
    log = (tmp_path / "log.txt").read_text()
    assert "nan" not in log and [line.split()[1] for line in log.splitlines()[:2]] == [
        "one", "other",
    ]  # fmt: skip
    # Two renders used one and a half times each are three steps.
    assert [line.split()[3] for line in log.splitlines()[::2]] == ["0", "1", "2"]
    for learner in learners:
        path = tmp_path / f"{learner.recipe.name}.safetensors"
        weights = load_file(path)
        assert all(v.dtype == torch.float16 and torch.isfinite(v).all() for v in weights.values())
        torch.manual_seed(0)
        before = dict(Network(learner.recipe.shape).named_parameters())["to_vector.weight"]
        moved = float((weights["to_vector.weight"].float() - before).detach().abs().max())
        assert 1e-4 < moved < 0.1  # it has learned something, and has not run away
        assert BuiltIn(path.read_bytes()).dim == 16


def test_training_goes_on_from_weights_of_any_sizes(tmp_path: Path) -> None:
    first = Learner(RECIPE, Run(), torch.device("cpu"))
    with torch.no_grad():
        first.net.power.fill_(0.25)
    path = first.save(tmp_path / "start.safetensors", averaged=False)
    with safe_open(path, "pt") as file:
        assert Shape.read(file.metadata()["shape"]) == SMALL
    second = Learner(Recipe(), Run(), torch.device("cpu"), start_from=path)
    assert second.recipe.shape == SMALL and second.net.power.item() == 0.25
    assert second.mean["power"].item() == 0.25


def test_the_rate_warms_up_and_falls_over_the_whole_course() -> None:
    run = Run(warm_up=10)
    warming = [training.rate(RECIPE, run, step, 0.0) for step in range(10)]
    assert warming == sorted(warming) and warming[-1] == pytest.approx(RECIPE.rate)
    falling = [training.rate(RECIPE, run, 100, share) for share in (0, 0.25, 0.5, 1, 2)]
    assert falling == sorted(falling, reverse=True) and falling[-1] > 0
    first, second = replace(run, until=0.5), replace(run, start=0.5)
    assert training.rate(RECIPE, first, 100, 1) == training.rate(RECIPE, second, 100, 0)
    assert training.rate(RECIPE, second, 100, 1) == falling[-1]


def test_right_first_counts_nearest_neighbours() -> None:
    vector = torch.nn.functional.normalize(
        torch.tensor([[1.0, 0], [1, 0.1], [0, 1], [-1, 0.2], [-1, 0.3]]), dim=1
    )
    form = torch.tensor([0, 0, 1, 2, 2])
    assert float(training.right_first(vector, form)) == pytest.approx(4 / 5)
