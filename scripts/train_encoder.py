"""Train the built-in encoder: python scripts/train_encoder.py OUT --seconds 1200

Needs a CUDA GPU for a useful run. Writes OUT/weights.safetensors and OUT/log.txt.
"""

from __future__ import annotations

import argparse
from dataclasses import fields
from pathlib import Path

from simsearch.synthetic.train import Run, train


def main() -> None:
    """Every field of ``Run`` is an option."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--start-from", type=Path)
    for f in fields(Run):
        kind = {"float": float, "int": int, "bool": lambda s: s == "True"}[str(f.type)]
        parser.add_argument(f"--{f.name}", type=kind, default=f.default)
    options = vars(parser.parse_args())
    out, start = options.pop("out"), options.pop("start_from")
    print(train(Run(**options), out, start_from=start))


if __name__ == "__main__":
    main()
