"""Time the built-in network in three number formats: python scripts/time_precisions.py [PHOTOS]

Prints milliseconds a picture for the network's body in 32 bits, in bfloat16 and in integers of 8
bits (static quantisation, ranges from 16 pictures), measured in turns in one run on one thread,
and the lowest cosine between the vectors that they give. A photo needs five passes.
"""

from __future__ import annotations

import copy
import statistics
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
import torch
import torch.nn.functional as F
from torch import Tensor, nn

import simsearch
from simsearch.encode import builtin
from simsearch.encode.network import Network
from simsearch.photo import open_photo


class Body(nn.Module):
    """The four stages of the network, where its time goes."""

    def __init__(self, network: Network) -> None:
        super().__init__()
        self.stem, self.stage4, self.stage8 = network.stem, network.stage4, network.stage8
        self.stage16, self.stage32 = network.stage16, network.stage32

    def forward(self, x: Tensor) -> tuple[Tensor, Tensor]:
        """Features of 16 and of 32 pixels."""
        x16 = self.stage16(self.stage8(self.stage4(self.stem(x))))
        return x16, self.stage32(x16)


def in_integers(body: Body, some: Tensor) -> nn.Module:
    """The body in integers of 8 bits, with ranges taken from ``some`` pictures."""
    from torch.ao.quantization import get_default_qconfig_mapping
    from torch.ao.quantization.quantize_fx import convert_fx, prepare_fx

    torch.backends.quantized.engine = "x86"
    ready = prepare_fx(copy.deepcopy(body), get_default_qconfig_mapping("x86"), (some[:1],))
    ready(some)
    made: nn.Module = convert_fx(ready)
    return made


def main(photos: int = 64) -> None:
    """Measure and print."""
    warnings.filterwarnings("ignore")
    torch.set_num_threads(1)
    reference = simsearch.open_set()
    rows = reference.photos[:: max(1, len(reference.photos) // photos)][:photos]
    size = (builtin.SIZE, builtin.SIZE)
    read = [open_photo(reference.path_of(r), max_side=640).resize(size) for r in rows]
    pictures = torch.from_numpy(np.stack([np.asarray(p, np.float32) / 255 for p in read]))
    x = ((pictures.permute(0, 3, 1, 2) - 0.5) * 4).contiguous(memory_format=torch.channels_last)
    network = builtin.BuiltIn(builtin.WEIGHTS.read_bytes())._network
    body = Body(network).eval()
    with torch.inference_mode():
        brief = copy.deepcopy(body).bfloat16()
        runs: dict[str, Callable[[Tensor], tuple[Tensor, Tensor]]] = {
            "float32": body,
            "bfloat16": lambda some: brief(some.bfloat16()),
            "int8": in_integers(body, x[:16]),
        }
        vectors, seconds = {}, {name: [] for name in runs}
        for name, run in runs.items():
            vectors[name] = torch.cat([vector(network, run(some)) for some in x.split(4)])
        for some in x.split(4):
            for name, run in runs.items():
                began = time.perf_counter()
                run(some)
                seconds[name].append((time.perf_counter() - began) / len(some))
    for name, own in vectors.items():
        cosine = (own * vectors["float32"]).sum(1)
        spent = 1000 * statistics.median(seconds[name])
        print(f"{name}: {spent:.1f} ms a picture, lowest cosine {cosine.min():.4f}")


def vector(network: Network, features: tuple[Tensor, Tensor]) -> Tensor:
    """The vectors that the network makes of these features, of unit length."""
    joined = torch.cat([network._pooled(f.float()) for f in features], 1)
    return F.normalize(network.spread(network.to_vector(joined)), dim=-1)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
