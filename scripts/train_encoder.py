"""Train the built-in encoder: python scripts/train_encoder.py OUT --seconds 1200

Needs a CUDA GPU for a useful run. Writes OUT/built-in.safetensors and OUT/log.txt. A course may
take several runs: --start 0 --until 0.5, then --start 0.5 --until 1 --start-from WEIGHTS.
"""

from __future__ import annotations

import argparse
from dataclasses import fields, replace
from pathlib import Path

from simsearch.encode.network import Shape
from simsearch.synthetic.stream import Supply
from simsearch.synthetic.train import Recipe, Run, train

#: What to train. The shipped weights are a smaller network of an interrupted course, which
#: --start-from continues in its own sizes: see simsearch/encode/TRAINING.md.
BUILT_IN = Recipe(shape=Shape(widths=(64, 128, 256, 512), blocks=(2, 2, 4, 2), patch=8), rate=2e-3)


def main() -> None:
    """Train as the options say; every field of Run and Supply is an option."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--start-from", type=Path)
    for f in [*fields(Run), *fields(Supply)]:
        if f.name != "seed":
            kind = {"float": float, "int": int, "bool": lambda s: s == "True"}[str(f.type)]
            parser.add_argument(f"--{f.name}", type=kind, default=f.default)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--batch", type=int, default=BUILT_IN.units, help="units a step")
    parser.add_argument("--rate", type=float, default=BUILT_IN.rate)
    given = vars(parser.parse_args())
    run = Run(**{f.name: given[f.name] for f in fields(Run)})
    supply = Supply(**{f.name: given[f.name] for f in fields(Supply)})
    recipe = replace(BUILT_IN, units=given["batch"], rate=given["rate"])
    train(run, supply, [recipe], given["out"], start_from=given["start_from"])


if __name__ == "__main__":
    main()
