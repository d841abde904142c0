"""Training of the built-in encoder on the stream of renders.

A run lasts a given time and its learning rate follows the share of that time that has passed.
Several networks, each with a recipe of its own, can learn from the same pictures in one run:
that is how choices are compared (``scripts/compare_recipes.py``).
"""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO

import torch
import torch.nn.functional as F
from safetensors import safe_open
from safetensors.torch import load_file, save_file
from torch import Tensor
from torch.utils.data import DataLoader

from simsearch.encode.network import Network, Shape
from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.losses import mask_loss, patch_loss, vector_loss
from simsearch.synthetic.stream import Drawn, Pictures, Shelf, Supply, rendered, varied


@dataclass(frozen=True)
class Recipe:
    """How one network learns."""

    name: str = "built-in"
    shape: Shape = field(default_factory=Shape)
    units: int = 128  # units of four forms a step
    alone: bool = False  # sisters never meet in a step
    size: int | None = None  # pixels, if other than rendered
    rate: float = 1.2e-3
    decay: float = 0.05
    temperature: float = 0.07
    patch_weight: float = 0.5
    mask_weight: float = 0.3
    pairs: int = 384  # pairs of pictures a step for the patch loss
    average: float = 0.998  # of the weights, per step


@dataclass(frozen=True)
class Run:
    """Settings of one training run."""

    seconds: float = 1200.0
    uses: float = 2.0  # how often a picture is used
    warm_up: int = 80  # steps
    start: float = 0.0  # which part of the whole course this run is: a course of several runs
    until: float = 1.0  # ends with an untouched rate where the next one starts
    seed: int = 0
    compiled: bool = False  # the network; pays after some hundred steps

    def course(self, share: float) -> float:
        """How much of the whole course has passed when ``share`` of this run has."""
        return self.start + (self.until - self.start) * min(share, 1.0)


class Learner:
    """A network that learns by a recipe."""

    def __init__(
        self, recipe: Recipe, run: Run, device: torch.device, start_from: Path | None = None
    ) -> None:
        torch.manual_seed(run.seed)
        self.recipe, self.run = recipe, run
        self.seen = 0
        self.seconds = 0.0  # spent on this network alone
        if start_from:
            recipe = self.recipe = _reshaped(recipe, start_from)
        net = Network(recipe.shape).to(device)
        if start_from:
            found = {k: v.float() for k, v in load_file(start_from).items()}
            net.load_state_dict(found, strict=False)
        self.net = net.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
        self.mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
        self._optimiser = torch.optim.AdamW(_groups(net, recipe), lr=0.0, betas=(0.9, 0.98))
        self._forward: Any = torch.compile(net) if run.compiled else net
        self._device = device

    def learn(self, some: Pictures, step: int, share: float) -> dict[str, Tensor]:
        """One step on these pictures; what it measured on the way."""
        for group in self._optimiser.param_groups:
            group["lr"] = rate(self.recipe, self.run, step, share)
        picture = some.picture
        if self.recipe.size and self.recipe.size != picture.shape[-1]:
            side = self.recipe.size
            picture = F.interpolate(picture, (side, side), mode="bilinear", antialias=True)
        with torch.autocast(self._device.type, torch.bfloat16):
            out = self._forward(picture.to(memory_format=torch.channels_last))
        parts = losses(out.vector, out.patches, out.mask, some, self.recipe)
        loss = parts["vector"] + self.recipe.patch_weight * parts["patch"]
        loss = loss + self.recipe.mask_weight * parts["mask"]
        self._optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(self.net.parameters(), 1.0)
        self._optimiser.step()
        self._average(min(self.recipe.average, (step + 1) / (step + 10)))
        self.seen += len(some.label)
        measured = {k: v.detach() for k, v in parts.items()}
        return {**measured, "R@1": right_first(out.vector.detach(), some.label)}

    def save(self, path: Path, *, averaged: bool = True) -> Path:
        """The weights as fp16, with the sizes of the network."""
        state = self.mean if averaged else self.net.state_dict()
        part = path.with_suffix(".part")
        halves = {k: v.half().contiguous() for k, v in state.items() if v.is_floating_point()}
        save_file(halves, part, metadata={"shape": self.recipe.shape.words()})
        part.replace(path)
        return path

    @torch.no_grad()
    def _average(self, keep: float) -> None:
        names, values = zip(*self.net.state_dict().items(), strict=True)
        pairs = [
            (self.mean[n], v) for n, v in zip(names, values, strict=True) if v.is_floating_point()
        ]
        torch._foreach_lerp_([a for a, _ in pairs], [b for _, b in pairs], 1 - keep)


def _reshaped(recipe: Recipe, weights: Path) -> Recipe:
    """The recipe with the sizes that the weights have."""
    with safe_open(weights, "pt") as file:
        words = (file.metadata() or {}).get("shape")
    return Recipe(**(vars(recipe) | {"shape": Shape.read(words) if words else Shape()}))


def _groups(net: Network, recipe: Recipe) -> list[dict[str, Any]]:
    matrices = [p for p in net.parameters() if p.ndim > 1]
    others = [p for p in net.parameters() if p.ndim <= 1]
    return [
        {"params": matrices, "weight_decay": recipe.decay},
        {"params": others, "weight_decay": 0},
    ]


def rate(recipe: Recipe, run: Run, step: int, share: float) -> float:
    """The learning rate: warm-up, then half a cosine over the whole course."""
    warm = min(1.0, (step + 1) / run.warm_up)
    done = run.course(share)
    return recipe.rate * warm * (0.005 + 0.995 * 0.5 * (1 + math.cos(math.pi * done)))


def losses(
    vector: Tensor, patches: Tensor, mask: Tensor, some: Pictures, recipe: Recipe
) -> dict[str, Tensor]:
    """The three losses of a step."""
    found = {"vector": vector_loss(vector, some.label, some.view, recipe.temperature)}
    grid = patches.shape[1]
    point, on = some.points(grid)
    point, on = point.flatten(1, 2), on.flatten(1)
    a = torch.arange(0, len(some.label), 2, device=vector.device)
    b = a + 1
    usable = (some.view[a] == some.view[b]).nonzero()[:, 0]
    usable = usable[torch.randperm(len(usable), device=vector.device)[: recipe.pairs]]
    a, b = a[usable], b[usable]
    reach = 2 * torch.maximum(some.half[a], some.half[b]) / grid
    flat = patches.flatten(1, 2)
    found["patch"] = patch_loss(flat[a], flat[b], point[a], point[b], on[a], on[b], reach)
    found["mask"] = mask_loss(mask, some.points(mask.shape[1])[1])
    return found


@torch.no_grad()
def right_first(vector: Tensor, form: Tensor) -> Tensor:
    """Share of pictures whose nearest other picture in the step is of the same form."""
    near = vector @ vector.T
    near.fill_diagonal_(-2)
    return (form[near.argmax(1)] == form).float().mean()


def _same(item: Any) -> Any:
    return item


def train(
    run: Run,
    supply: Supply,
    recipes: Sequence[Recipe],
    out: Path,
    *,
    start_from: Path | None = None,
) -> list[Learner]:
    """Train for ``run.seconds``, one network for each recipe, all on the same pictures.

    Writes ``NAME.safetensors`` (fp16, averaged) for each recipe and ``log.txt`` into ``out``
    every minute and at the end; ``start_from`` continues from such weights.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    compile_kernels(device.type == "cuda")
    out.mkdir(parents=True, exist_ok=True)
    learners = [Learner(r, run, device, start_from) for r in recipes]
    g = torch.Generator(device=device).manual_seed(run.seed + 1)
    drawn = Drawn(supply)
    shelf = Shelf(supply, len(drawn.ids))
    loader = DataLoader(
        drawn, batch_size=None, num_workers=supply.workers, collate_fn=_same,
        prefetch_factor=3 if supply.workers else None,
    )  # fmt: skip
    log = (out / "log.txt").open("a")
    began = saved = time.time()
    step, owed = 0, 0.0
    for turn, item in enumerate(loader):
        if turn == 1:
            began = saved = time.time()  # compiling is not training
        share = (time.time() - began) / run.seconds
        if turn and share >= 1:
            break
        shelf.put(rendered(item, supply, device, run.course(share)))
        owed += run.uses
        while owed >= 1:
            share = (time.time() - began) / run.seconds
            _step(learners, shelf, step, share, g, log, time.time() - began)
            step, owed = step + 1, owed - 1
        if time.time() - saved > 60:
            _save(learners, out)
            saved = time.time()
    _save(learners, out)
    return learners


def _step(
    learners: Sequence[Learner], shelf: Shelf, step: int, share: float, g: torch.Generator,
    log: TextIO, seconds: float,
) -> None:  # fmt: skip
    for learner in learners:
        recipe = learner.recipe
        some = varied(shelf.take(recipe.units, g, alone=recipe.alone), g)
        began = _now()
        found = learner.learn(some, step, share)
        learner.seconds += _now() - began
        if step % 25 == 0 or step < 8:
            words = " ".join(f"{k} {float(v):.3f}" for k, v in found.items())
            line = f"{seconds:7.1f}s {recipe.name} step {step} seen {learner.seen} {words}"
            print(line, flush=True)
            log.write(line + "\n")
            log.flush()


def _now() -> float:
    if torch.cuda.is_available():
        torch.cuda.synchronize()
    return time.perf_counter()


def _save(learners: Sequence[Learner], out: Path) -> None:
    for learner in learners:
        learner.save(out / f"{learner.recipe.name}.safetensors")
