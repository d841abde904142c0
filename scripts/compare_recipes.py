"""Compare ways to train: python scripts/compare_recipes.py OUT [--seconds S] [--photos FOLDER ...]

Trains one small run of every recipe in RECIPES, all at once and on the same renders, and prints
a table: what each costs and what it finds on fresh endless forms, on specimens of named types
that were held out, and on folders of real photos (a folder for each class). Needs a CUDA GPU.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import torch
from PIL import Image

from simsearch.encode.builtin import SIZE, BuiltIn
from simsearch.encode.framing import cut, whole
from simsearch.encode.network import Network, Shape
from simsearch.evaluation.folders import load_labelled
from simsearch.evaluation.metrics import class_mean, figures
from simsearch.leads.grouping import PhotoGroups
from simsearch.synthetic.render import Shot
from simsearch.synthetic.specimens import AMOUNTS, photograph
from simsearch.synthetic.stream import HELD_OUT, Drawn, Pictures, Supply, rendered, varied
from simsearch.synthetic.train import Learner, Recipe, Run, train
from simsearch.synthetic.typed import typed_ids

BASE = Recipe("base", units=64)
RECIPES = {
    "base": BASE,
    "no loss on patches": replace(BASE, patch_weight=0.0),
    "twice the batch": replace(BASE, units=128),
    "sisters never meet": replace(BASE, alone=True),
    "temperature 0.05": replace(BASE, temperature=0.05),
    "128 pixels": replace(BASE, size=128),
    "patches of 8 pixels": replace(BASE, shape=Shape(patch=8)),
    "wider, deeper": replace(BASE, shape=Shape(widths=(64, 128, 288, 512), blocks=(2, 2, 4, 2))),
    "rate 2.4e-3": replace(BASE, rate=2.4e-3),
}
_CAREFUL = Shot(view="front", tilt=10, roll=15, fill=(0.8, 0.9), weather=0.4, losses=0, plain=True)


@dataclass(frozen=True)
class Shown:
    """Photos with their types, cut to squares: by the mask of a network, or left whole."""

    squares: torch.Tensor  # [n, 3, SIZE, SIZE] uint8
    uncut: torch.Tensor
    labels: list[str]
    specimens: list[str]

    @staticmethod
    def of(photos: list[Image.Image], labels: list[str], specimens: list[str], finder: BuiltIn
           ) -> Shown:  # fmt: skip
        """Cut every photo as ``finder`` frames it."""
        pairs = zip(photos, finder.squares(photos), strict=True)
        squares = [cut(p, s, SIZE) for p, s in pairs]
        uncut = [cut(p, whole(p), SIZE) for p in photos]
        return Shown(_stack(squares), _stack(uncut), labels, specimens)


def _stack(pictures: list[Image.Image]) -> torch.Tensor:
    rows = np.stack([np.asarray(p) for p in pictures])
    return torch.from_numpy(rows).permute(0, 3, 1, 2).cuda()


@torch.no_grad()
def vectors(net: torch.nn.Module, pictures: torch.Tensor) -> np.ndarray:
    """Mean vectors of four quarter turns ``(n, dim)``."""
    rows = []
    for part in pictures.split(512):
        turned = [net(part.rot90(q, (2, 3)).float() / 255).vector for q in range(4)]
        rows.append(torch.nn.functional.normalize(torch.stack(turned).sum(0), dim=1))
    return torch.cat(rows).cpu().numpy()


def specimens(series: str, number: int, takes: int, shot: Shot, finder: BuiltIn, first: int = 0
              ) -> Shown:  # fmt: skip
    """Renders of specimens of every named type."""
    some = [
        p
        for n in range(number)
        for take in range(takes)
        for p in photograph(typed_ids(), series, n, shot, SIZE, take=first + take, device="cuda")
    ]
    names = [f"{p.type_id} {p.number}" for p in some]
    return Shown.of([p.image for p in some], [p.type_id for p in some], names, finder)


def held_out(net: torch.nn.Module, shown: Shown, asked: dict[str, Shown], *, uncut: bool
             ) -> dict[str, float]:  # fmt: skip
    """Class-mean R@1 of held-out specimens of the named types, in per cent."""
    groups = PhotoGroups.of(list(zip(shown.labels, shown.specimens, strict=True)))
    known = vectors(net, shown.uncut if uncut else shown.squares)
    found = {}
    for name, some in asked.items():
        scores = groups.type_scores(vectors(net, some.uncut if uncut else some.squares) @ known.T)
        labels = np.array(some.labels)
        right = (np.array(groups.type_ids)[scores.argmax(1)] == labels).astype(float)
        new = np.isin(labels, HELD_OUT)
        found[name] = 100 * class_mean(right, labels.tolist())
        found[f"{name}, new types"] = 100 * class_mean(right[new], labels[new].tolist())
    return found


@torch.no_grad()
def fresh(learner: Learner, some: list[Pictures]) -> dict[str, float]:
    """R@1 among fresh endless forms, and the share of patches whose nearest patch in another
    picture of the specimen lies within a tenth of the form's length of the right place."""
    first, placed = [], []
    for pictures in some:
        net = learner.net.eval()
        with torch.autocast("cuda", torch.bfloat16):
            out = net(pictures.picture.to(memory_format=torch.channels_last))
        near = out.vector @ out.vector.T
        near.fill_diagonal_(-2)
        first.append(float((pictures.label[near.argmax(1)] == pictures.label).float().mean()))
        point, on = pictures.points(out.patches.shape[1])
        point, on, patches = point.flatten(1, 2), on.flatten(1), out.patches.flatten(1, 2)
        a = torch.arange(0, len(point), 2, device=point.device)
        a = a[pictures.view[a] == pictures.view[a + 1]]
        best = (patches[a] @ patches[a + 1].transpose(1, 2)).argmax(2)
        apart = torch.cdist(point[a], point[a + 1]).masked_fill(~on[a + 1][:, None], 9.0)
        reachable = on[a] & (apart.min(2).values < 0.1)
        right = apart.gather(2, best[..., None])[..., 0] < 0.2
        placed.append(float(right[reachable].float().mean()))
    return {
        "fresh forms": 100 * float(np.mean(first)),
        "patches placed": 100 * float(np.mean(placed)),
    }


def real(net: torch.nn.Module, data: Shown, *, uncut: bool) -> float:
    """Class-mean R@1, each photo among all others, in per cent."""
    rows = vectors(net, data.uncut if uncut else data.squares)
    return 100 * figures(rows @ rows.T, data.labels).recall_1


def main() -> None:
    """Train, measure, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--seconds", type=float, default=240)
    parser.add_argument("--photos", type=Path, nargs="*", default=[])
    parser.add_argument("--specimens", type=int, default=6)
    parser.add_argument("--only", nargs="*", default=list(RECIPES))
    options = parser.parse_args()
    recipes = [replace(RECIPES[name], name=name) for name in options.only]
    supply = Supply(units=64)
    began = time.time()
    learners = train(Run(seconds=options.seconds, uses=1), supply, recipes, options.out)
    print(f"trained in {time.time() - began:.0f} s", flush=True)
    device = torch.device("cuda")
    g = torch.Generator(device=device).manual_seed(5)
    rng = np.random.default_rng(987654)
    items = [Drawn(Supply(units=128, typed=0)).draw(rng) for _ in range(2)]
    some = [varied(rendered(item, Supply(units=128, typed=0), device), g) for item in items]
    first = learners[0].save(options.out / "finder.safetensors")
    finder = BuiltIn(first.read_bytes(), device="cuda")
    folders = {}
    for p in options.photos:
        data = load_labelled(p)
        folders[p.name] = Shown.of(data.photos, data.labels, data.scenes, finder)
    shown = specimens("compare, shown", 4, 2, _CAREFUL, finder)
    asked = {
        name: specimens("compare, asked", options.specimens, 1, shot, finder, first=i)
        for i, (name, shot) in enumerate(AMOUNTS.items())
    }
    print(f"ready to measure after {time.time() - began:.0f} s", flush=True)
    rows = [(learner, False) for learner in learners] + [(learners[0], True)]
    for i, (learner, uncut) in enumerate(rows):
        found: dict[str, float] = {"seconds": learner.seconds, "pictures": learner.seen}
        found |= fresh(learner, some)
        net = averaged(learner)
        found |= held_out(net, shown, asked, uncut=uncut)
        found |= {name: real(net, data, uncut=uncut) for name, data in folders.items()}
        if i == 0:
            print("| recipe | " + " | ".join(found) + " |")
            print("| --- " * (len(found) + 1) + "|")
        cells = [f"{v:.1f}" if v < 1000 else f"{v:.0f}" for v in found.values()]
        name = learner.recipe.name + (", photos left whole" if uncut else "")
        print(f"| {name} | " + " | ".join(cells) + " |", flush=True)


def averaged(learner: Learner) -> Network:
    """The network with its averaged weights."""
    net = Network(learner.recipe.shape).cuda().eval()
    net.load_state_dict(learner.mean)
    return net.to(memory_format=torch.channels_last)  # type: ignore[call-overload]


if __name__ == "__main__":
    main()
