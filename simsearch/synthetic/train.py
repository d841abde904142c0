"""Training of the built-in encoder on endless renders.

Worker processes draw forms and pack them; the GPU renders each specimen twice, in other light,
wear and damage, and the network learns from the pictures at once: no picture is seen twice.
A run lasts a given time and its learning rate follows the share of that time that has passed.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from safetensors.torch import load_file, save_file
from torch import Tensor
from torch.utils.data import DataLoader, IterableDataset

from simsearch.encode.network import Network, Outputs
from simsearch.synthetic.batch import Batch, pack_arrays, unpack
from simsearch.synthetic.endless import sisters, specimen
from simsearch.synthetic.form import Form
from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.losses import mask_loss, patch_loss, patch_points, vector_loss
from simsearch.synthetic.render import Shot, Shots, render
from simsearch.synthetic.typed import typed_form, typed_ids

#: Types whose forms the encoder never sees in training, to measure what it does with new ones.
HELD_OUT = ("knee", "penannular-c", "saucer", "trefoil")


@dataclass(frozen=True)
class Run:
    """Settings of one training run."""

    seconds: float = 1200.0
    forms: int = 512  # forms a step; 2 specimens of each, 2 pictures of each specimen
    typed: float = 0.25  # share of them that are named types
    size: int = 160  # pixels
    chunk: int = 512  # pictures rendered at once
    rate: float = 1.2e-3
    warm_up: int = 80  # steps
    decay: float = 0.05
    average: float = 0.995  # of the weights, per step
    patch_weight: float = 0.5
    mask_weight: float = 0.3
    pairs: int = 384  # pairs of pictures a step for the patch loss
    workers: int = 14
    seed: int = 0
    compiled: bool = True


class Forms(IterableDataset[dict[str, Any]]):
    """Packed specimens, two of each form, with the number of their form."""

    def __init__(self, run: Run) -> None:
        self.run = run
        self.ids = [t for t in typed_ids() if t not in HELD_OUT]

    def __iter__(self) -> Iterator[dict[str, Any]]:
        info = torch.utils.data.get_worker_info()
        rng = np.random.default_rng([self.run.seed, info.id if info else 0])
        while True:
            yield self.step(rng)

    def step(self, rng: np.random.Generator) -> dict[str, Any]:
        """The arrays of one training step."""
        specimens: list[Form] = []
        label: list[int] = []
        for _ in range(int(self.run.forms * self.run.typed)):
            which = int(rng.integers(len(self.ids)))
            specimens += [typed_form(self.ids[which], rng) for _ in range(2)]
            label += [which, which]
        fresh = len(self.ids)
        while len(label) < 2 * self.run.forms:
            for form in sisters(rng, 4):
                specimens += [specimen(form, rng), specimen(form, rng)]
                label += [fresh, fresh]
                fresh += 1
        keep = 2 * self.run.forms
        arrays = pack_arrays(specimens[:keep])
        return {"arrays": arrays, "label": np.array(label[:keep]), "seed": int(rng.integers(2**62))}


def _same(item: Any) -> Any:
    return item


def _chunk(arrays: dict[str, np.ndarray], start: int, stop: int) -> Batch:
    part = {k: v[start:stop] for k, v in arrays.items()}
    return unpack(part, [""] * (stop - start), [[]] * (stop - start))


def training_shot(share: float) -> Shot:
    """What is asked of the pictures when ``share`` of the run has passed: easy at first.

    In the end two in five are whole; the others keep between a third and all of what the camera
    would see.
    """
    hard = min(1.0, 0.2 + share / 0.3)
    return Shot(
        kept=(1 - 0.67 * hard, 1.45), tilt=32 * hard, fill=(0.42, 1.0), weather=hard, losses=hard
    )


def pictures(
    item: dict[str, Any], run: Run, device: torch.device, share: float = 1.0
) -> tuple[list[Shots], Tensor]:
    """Renders of one step, in chunks, and the form of each picture."""
    shot = training_shot(share)
    g = torch.Generator(device=device).manual_seed(item["seed"] % 2**31)
    label = torch.from_numpy(item["label"]).to(device)
    odds = torch.tensor([0.72, 0.14, 0.14], device=device)
    forms = int(label.max()) + 1
    of_form = torch.multinomial(odds, forms, replacement=True, generator=g)
    usual = of_form[label].repeat_interleave(2)
    other = torch.multinomial(odds, len(usual), replacement=True, generator=g)
    stray = torch.rand(len(usual), generator=g, device=device) < 0.15
    view = torch.where(stray, other, usual)
    shots = []
    half = run.chunk // 2
    for i in range(0, len(label), half):
        batch = _chunk(item["arrays"], i, min(i + half, len(label))).to(device).repeat(2)
        seed = (item["seed"] + i) % 2**31
        here = view[2 * i : 2 * i + len(batch)]
        shots.append(render(batch, shot, run.size, seed, view=here, parts=False))
    return shots, label.repeat_interleave(2)


def losses(out: Outputs, shots: Shots, form: Tensor, run: Run) -> dict[str, Tensor]:
    """The three losses of a step."""
    found = {"vector": vector_loss(out.vector, form, shots.view)}
    grid = out.patches.shape[1]
    point, on = patch_points(shots.point, shots.mask, shots.mask.shape[1] // grid)
    patches = out.patches.flatten(1, 2)
    a = torch.arange(0, len(form), 2, device=form.device)
    b = a + 1
    usable = (shots.view[a] == shots.view[b]).nonzero()[:, 0][: run.pairs]
    a, b = a[usable], b[usable]
    reach = 1.0 * 2 * torch.maximum(shots.half[a], shots.half[b]) / grid
    found["patch"] = patch_loss(patches[a], patches[b], point[a], point[b], on[a], on[b], reach)
    found["mask"] = mask_loss(out.mask, shots.mask)
    return found


def _joined(shots: list[Shots]) -> Shots:
    return Shots(**{k: torch.cat([getattr(s, k) for s in shots]) for k in vars(shots[0])})


def _rate(run: Run, step: int, share: float) -> float:
    warm = min(1.0, (step + 1) / run.warm_up)
    return run.rate * warm * (0.01 + 0.99 * 0.5 * (1 + math.cos(math.pi * min(share, 1.0))))


def _groups(net: Network, run: Run) -> list[dict[str, Any]]:
    matrices = [p for p in net.parameters() if p.ndim > 1]
    others = [p for p in net.parameters() if p.ndim <= 1]
    return [{"params": matrices, "weight_decay": run.decay}, {"params": others, "weight_decay": 0}]


@torch.no_grad()
def right_first(vector: Tensor, form: Tensor, view: Tensor) -> float:
    """Share of pictures whose nearest other picture in the step is of the same form."""
    near = vector @ vector.T
    near.fill_diagonal_(-2)
    return float((form[near.argmax(1)] == form).float().mean())


def train(run: Run, out: Path, *, start_from: Path | None = None) -> Path:
    """Train for ``run.seconds`` and return the path of the averaged weights.

    Writes ``weights.safetensors`` (fp16, averaged) and ``log.txt`` into ``out`` every two
    minutes and at the end; ``start_from`` continues from such weights.
    """
    device = torch.device("cuda" if torch.cuda.is_available() else "cpu")
    torch.manual_seed(run.seed)
    torch.backends.cuda.matmul.allow_tf32 = True
    torch.backends.cudnn.allow_tf32 = True
    compile_kernels(run.compiled)
    out.mkdir(parents=True, exist_ok=True)
    net = Network().to(device)
    if start_from:
        net.load_state_dict({k: v.float() for k, v in load_file(start_from).items()}, strict=False)
    net = net.to(memory_format=torch.channels_last)  # type: ignore[call-overload]
    mean = {k: v.detach().clone() for k, v in net.state_dict().items()}
    optimiser = torch.optim.AdamW(_groups(net, run), lr=run.rate, betas=(0.9, 0.98))
    loader = DataLoader(
        Forms(run), batch_size=None, num_workers=run.workers, collate_fn=_same,
        prefetch_factor=3 if run.workers else None,
    )  # fmt: skip
    log = (out / "log.txt").open("a")
    print("ready", device, flush=True)
    began = saved = time.time()
    seen = 0
    for step, item in enumerate(loader):
        if step == 1:
            began = time.time()  # compiling is not training
        share = (time.time() - began) / run.seconds
        if share >= 1:
            break
        for group in optimiser.param_groups:
            group["lr"] = _rate(run, step, share)
        chunks, form = pictures(item, run, device, share)
        shots = _joined(chunks)
        with torch.autocast(device.type, torch.bfloat16):
            result = net(shots.picture.to(memory_format=torch.channels_last))
        parts = losses(result, shots, form, run)
        loss = parts["vector"] + run.patch_weight * parts["patch"] + run.mask_weight * parts["mask"]
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        optimiser.step()
        _average(mean, net, min(run.average, (step + 1) / (step + 10)))
        seen += len(form)
        if step % 25 == 0 or step < 8:
            first = right_first(result.vector, form, shots.view)
            words = " ".join(f"{k} {v.item():.3f}" for k, v in parts.items())
            line = f"{time.time() - began:7.1f}s step {step} seen {seen} {words} R@1 {first:.3f}"
            print(line, flush=True)
            log.write(line + "\n")
            log.flush()
        if time.time() - saved > 120:
            _save(mean, out)
            saved = time.time()
    return _save(mean, out)


@torch.no_grad()
def _average(mean: dict[str, Tensor], net: Network, keep: float) -> None:
    for name, value in net.state_dict().items():
        if value.is_floating_point():
            mean[name].lerp_(value, 1 - keep)


def _save(mean: dict[str, Tensor], out: Path) -> Path:
    path, part = out / "weights.safetensors", out / "weights.part"
    save_file({k: v.half().contiguous() for k, v in mean.items() if v.is_floating_point()}, part)
    part.replace(path)
    return path
