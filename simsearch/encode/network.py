"""The built-in network: convolutions below, attention above, three outputs.

    vector   one unit vector for the whole object          [B, 256]
    patches  one unit vector for each 16 x 16 pixel patch   [B, S/16, S/16, 64]
    mask     logit that a point belongs to the object       [B, S/4, S/4]

About 7.6 million parameters, plain PyTorch. Positions enter only through the zero padding of a
depth-wise convolution, so that any picture size that is a multiple of 16 works.
"""

from __future__ import annotations

from dataclasses import dataclass

import torch
import torch.nn.functional as F
from torch import Tensor, nn


@dataclass(frozen=True)
class Shape:
    """Widths and depths of the network."""

    stem: int = 32
    low: int = 64
    mid: int = 128
    width: int = 256
    depth: int = 8
    heads: int = 4
    dim: int = 256
    patch_dim: int = 64


def _norm(channels: int) -> nn.GroupNorm:
    return nn.GroupNorm(channels // 16, channels)


class Residual(nn.Module):
    """Two 3 x 3 convolutions with a skip; the first may halve the resolution."""

    def __init__(self, inner: int, outer: int, stride: int = 1) -> None:
        super().__init__()
        self.first = nn.Conv2d(inner, outer, 3, stride, 1, bias=False)
        self.norm1 = _norm(outer)
        self.second = nn.Conv2d(outer, outer, 3, 1, 1, bias=False)
        self.norm2 = _norm(outer)
        nn.init.zeros_(self.norm2.weight)
        same = stride == 1 and inner == outer
        self.skip = nn.Identity() if same else nn.Conv2d(inner, outer, stride, stride)

    def forward(self, x: Tensor) -> Tensor:
        y = F.gelu(self.norm1(self.first(x)))
        return F.gelu(self.skip(x) + self.norm2(self.second(y)))


class Block(nn.Module):
    """A pre-norm transformer block."""

    def __init__(self, width: int, heads: int) -> None:
        super().__init__()
        self.heads = heads
        self.norm1, self.norm2 = nn.LayerNorm(width), nn.LayerNorm(width)
        self.qkv, self.out = nn.Linear(width, 3 * width), nn.Linear(width, width)
        self.up, self.down = nn.Linear(width, 4 * width), nn.Linear(4 * width, width)
        self.scale1 = nn.Parameter(torch.full((width,), 0.1))
        self.scale2 = nn.Parameter(torch.full((width,), 0.1))

    def forward(self, x: Tensor) -> Tensor:
        b, n, w = x.shape
        qkv = self.qkv(self.norm1(x)).view(b, n, 3, self.heads, w // self.heads)
        q, k, v = qkv.permute(2, 0, 3, 1, 4)
        y = F.scaled_dot_product_attention(q, k, v).transpose(1, 2).reshape(b, n, w)
        x = x + self.scale1 * self.out(y)
        return x + self.scale2 * self.down(F.gelu(self.up(self.norm2(x))))


@dataclass
class Outputs:
    """``vector`` and ``patches`` are of unit length; ``mask`` is a logit at a quarter of the
    picture's resolution."""

    vector: Tensor
    patches: Tensor
    mask: Tensor


class Network(nn.Module):
    """Pictures ``[B, 3, S, S]``, values 0..1, S a multiple of 16, to :class:`Outputs`."""

    def __init__(self, shape: Shape | None = None) -> None:
        super().__init__()
        s = self.shape = shape or Shape()
        self.stem = nn.Sequential(
            nn.Conv2d(3, s.stem, 3, 2, 1), nn.GELU(), Residual(s.stem, s.low, 2)
        )
        self.stage4 = nn.Sequential(Residual(s.low, s.low))
        self.stage8 = nn.Sequential(Residual(s.low, s.mid, 2), Residual(s.mid, s.mid))
        self.stage16 = nn.Conv2d(s.mid, s.width, 2, 2)
        self.place = nn.Conv2d(s.width, s.width, 3, 1, 1, groups=s.width)
        self.whole = nn.Parameter(torch.randn(1, 1, s.width) * 0.02)
        self.blocks = nn.ModuleList(Block(s.width, s.heads) for _ in range(s.depth))
        self.norm = nn.LayerNorm(s.width)
        self.to_vector = nn.Linear(2 * s.width, s.dim)
        # Spreads the vectors apart from the first step: without it they start out almost equal
        # and contrastive training takes long to leave that plateau.
        self.spread = nn.BatchNorm1d(s.dim, affine=False, momentum=0.02)
        self.to_patches = nn.Linear(s.width, s.patch_dim)
        self.mask16 = nn.Conv2d(s.width, s.low, 1)
        self.mask8 = nn.Conv2d(s.mid, s.low, 1)
        self.mask4 = nn.Conv2d(s.low, s.low, 1)
        self.to_mask = nn.Sequential(nn.GELU(), nn.Conv2d(s.low, 1, 3, 1, 1))

    def forward(self, pictures: Tensor) -> Outputs:
        x4 = self.stage4(self.stem((pictures - 0.5) * 4))
        x8 = self.stage8(x4)
        x = self.stage16(x8)
        x = x + self.place(x)
        b, w, rows, cols = x.shape
        tokens = torch.cat([self.whole.expand(b, -1, -1), x.flatten(2).transpose(1, 2)], 1)
        for block in self.blocks:
            tokens = block(tokens)
        tokens = self.norm(tokens)
        grid = tokens[:, 1:].transpose(1, 2).reshape(b, w, rows, cols)
        mask = self._mask(grid, x8, x4)
        vector = self._vector(tokens, mask)
        patches = F.normalize(self.to_patches(tokens[:, 1:]).float(), dim=-1)
        return Outputs(vector, patches.view(b, rows, cols, -1), mask)

    def _mask(self, grid: Tensor, x8: Tensor, x4: Tensor) -> Tensor:
        m = self.mask8(x8) + F.interpolate(self.mask16(grid), scale_factor=2, mode="nearest")
        m = self.mask4(x4) + F.interpolate(m, scale_factor=2, mode="nearest")
        return self.to_mask(m)[:, 0]

    def _vector(self, tokens: Tensor, mask: Tensor) -> Tensor:
        """Token of the whole beside the mean of the tokens that lie on the object."""
        share = F.avg_pool2d(mask.detach().float().sigmoid()[:, None], 4).flatten(1)
        weight = (share + 0.02)[..., None].to(tokens.dtype)
        mean = (tokens[:, 1:] * weight).sum(1) / weight.sum(1)
        joined = torch.cat([tokens[:, 0], mean], 1)
        return F.normalize(self.spread(self.to_vector(joined).float()), dim=-1)
