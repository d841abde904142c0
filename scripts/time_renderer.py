"""Pictures per second of the renderer alone and of the network alone, on this machine's device."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

import numpy as np
import torch

from simsearch.encode.network import Network
from simsearch.synthetic.batch import pack
from simsearch.synthetic.endless import sisters
from simsearch.synthetic.kernels import compile_kernels
from simsearch.synthetic.render import Shot, render


def rate(work: Callable[[int], None], count: int, times: int) -> float:
    """Pictures a second over ``times`` calls after one warm-up call."""
    device = "cuda" if torch.cuda.is_available() else "cpu"
    work(0)
    if device == "cuda":
        torch.cuda.synchronize()
    began = time.perf_counter()
    for i in range(times):
        work(i + 1)
    if device == "cuda":
        torch.cuda.synchronize()
    return count * times / (time.perf_counter() - began)


def main(count: int, sizes: list[int]) -> None:
    """Print one line a size."""
    device = "cuda" if torch.cuda.is_available() else "cpu"
    compile_kernels()
    rng = np.random.default_rng(0)
    batch = pack([f for _ in range(count // 4) for f in sisters(rng, 4)]).to(device)
    net = Network().to(device).to(memory_format=torch.channels_last)
    fast = torch.compile(net) if device == "cuda" else net
    shot = Shot(kept=(0.33, 1.45))
    for size in sizes:
        x = torch.rand(count, 3, size, size, device=device).to(memory_format=torch.channels_last)

        def draw(i: int, size: int = size) -> None:
            render(batch, shot, size, i, parts=False)

        def learn(_: int, x: torch.Tensor = x) -> None:
            with torch.autocast(device, torch.bfloat16):
                out = fast(x)
            (out.vector.std() + out.patches.std() + out.mask.mean()).backward()

        drawn = rate(draw, count, 4)
        learned = rate(learn, count, 4)
        print(f"{size} px: {drawn:.0f} renders/s, {learned:.0f} forward and backward/s", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]), [int(s) for s in sys.argv[2:]] or [160])
