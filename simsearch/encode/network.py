"""The built-in network: a small residual network with three outputs.

    vector   one unit vector for the whole object             [B, 256]
    patches  one unit vector for each patch of 16 or 8 pixels  [B, S/16, S/16, 64]
    mask     logit that a point belongs to the object          [B, S/4, S/4]

Residual blocks as in He et al. 2015 (arXiv 1512.03385), pooling by generalised mean (Radenovic
et al. 2017, arXiv 1711.02512). Plain PyTorch; any picture size that is a multiple of 32 works.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import Any, cast

import torch
import torch.nn.functional as F
from torch import Tensor, nn
from torch.nn.utils.fusion import fuse_conv_bn_eval


@dataclass(frozen=True)
class Shape:
    """Sizes of the network: widths of its stem, of its four stages and of its outputs; residual
    blocks in each stage; pixels across one patch (16 or 8)."""

    stem: int = 32
    widths: tuple[int, int, int, int] = (64, 128, 256, 448)
    blocks: tuple[int, int, int, int] = (2, 2, 2, 2)
    patch: int = 16
    dim: int = 256
    patch_dim: int = 64
    mask: int = 48

    def words(self) -> str:
        """The sizes as JSON, to travel with the weights."""
        return json.dumps(asdict(self))

    @staticmethod
    def read(words: str) -> Shape:
        """The sizes from :meth:`words`; raises ValueError for anything else."""
        found = json.loads(words)
        if not isinstance(found, dict) or found.keys() - Shape.__dataclass_fields__.keys():
            raise ValueError("these are not the sizes of a network")
        sizes: dict[str, Any] = {
            k: tuple(v) if isinstance(v, list) else v for k, v in found.items()
        }
        return Shape(**sizes)


class Residual(nn.Module):
    """Two 3 x 3 convolutions with a skip; the first may halve the resolution."""

    def __init__(self, inner: int, outer: int, stride: int = 1) -> None:
        super().__init__()
        self.first: nn.Module = nn.Conv2d(inner, outer, 3, stride, 1, bias=False)
        self.norm1: nn.Module = nn.BatchNorm2d(outer)
        self.second: nn.Module = nn.Conv2d(outer, outer, 3, 1, 1, bias=False)
        self.norm2: nn.Module = nn.BatchNorm2d(outer)
        self.skip: nn.Module = nn.Identity()
        if stride != 1 or inner != outer:
            self.skip = nn.Sequential(
                nn.Conv2d(inner, outer, stride, stride, bias=False), nn.BatchNorm2d(outer)
            )

    def forward(self, x: Tensor) -> Tensor:
        y = F.relu(self.norm1(self.first(x)))
        return F.relu(self.skip(x) + self.norm2(self.second(y)))

    def folded(self) -> Residual:
        """The same block with its norms folded into its convolutions: quicker, for use only."""
        self.first, self.norm1 = _fused(self.first, self.norm1), nn.Identity()
        self.second, self.norm2 = _fused(self.second, self.norm2), nn.Identity()
        if isinstance(self.skip, nn.Sequential):
            self.skip = _fused(self.skip[0], self.skip[1])
        return self


def _fused(conv: nn.Module, norm: nn.Module) -> nn.Conv2d:
    return cast(nn.Conv2d, fuse_conv_bn_eval(cast(Any, conv), cast(Any, norm)))


@dataclass
class Outputs:
    """``vector`` and ``patches`` are of unit length; ``mask`` is a logit at a quarter of the
    picture's resolution."""

    vector: Tensor
    patches: Tensor
    mask: Tensor


def _stage(inner: int, outer: int, stride: int, blocks: int) -> nn.Sequential:
    more = [Residual(outer, outer) for _ in range(blocks - 1)]
    return nn.Sequential(Residual(inner, outer, stride), *more)


class Network(nn.Module):
    """Pictures ``[B, 3, S, S]``, values 0..1, S a multiple of 32, to :class:`Outputs`."""

    def __init__(self, shape: Shape | None = None) -> None:
        super().__init__()
        s = self.shape = shape or Shape()
        a, b, c, d = s.widths
        self.stem = nn.Sequential(
            nn.Conv2d(3, s.stem, 3, 2, 1, bias=False), nn.BatchNorm2d(s.stem), nn.ReLU()
        )
        self.stage4 = _stage(s.stem, a, 2, s.blocks[0])
        self.stage8 = _stage(a, b, 2, s.blocks[1])
        self.stage16 = _stage(b, c, 2, s.blocks[2])
        self.stage32 = _stage(c, d, 2, s.blocks[3])
        self.power = nn.Parameter(torch.tensor(3.0))
        self.to_vector = nn.Linear(c + d, s.dim, bias=False)
        self.spread = nn.BatchNorm1d(s.dim, affine=False)
        self.context = nn.Conv2d(d, c, 1, bias=False)
        self.finer = nn.Conv2d(b, c, 1, bias=False) if s.patch == 8 else None
        self.to_patches = nn.Sequential(nn.BatchNorm2d(c), nn.ReLU(), nn.Conv2d(c, s.patch_dim, 1))
        self.mask16 = nn.Conv2d(c, s.mask, 1)
        self.mask8 = nn.Conv2d(b, s.mask, 1)
        self.mask4 = nn.Conv2d(a, s.mask, 1)
        self.to_mask = nn.Sequential(nn.ReLU(), nn.Conv2d(s.mask, 1, 3, 1, 1))

    def forward(self, pictures: Tensor) -> Outputs:
        x4 = self.stage4(self.stem((pictures - 0.5) * 4))
        x8 = self.stage8(x4)
        x16 = self.stage16(x8)
        x32 = self.stage32(x16)
        joined = torch.cat([self._pooled(x16), self._pooled(x32)], 1)
        vector = F.normalize(self.spread(self.to_vector(joined).float()), dim=-1)
        wide = F.interpolate(self.context(x32), scale_factor=2, mode="nearest")
        x16 = x16 + wide
        seen = x16
        if self.finer is not None:
            seen = self.finer(x8) + F.interpolate(x16, scale_factor=2, mode="nearest")
        patches = self.to_patches(seen).permute(0, 2, 3, 1)
        patches = F.normalize(patches.float(), dim=-1)
        return Outputs(vector, patches, self._mask(x16, x8, x4))

    def folded(self) -> Network:
        """This network, evaluating, with the norms of its residual blocks folded away."""
        self.eval()
        for module in self.modules():
            if isinstance(module, Residual):
                module.folded()
        return self

    def _mask(self, x16: Tensor, x8: Tensor, x4: Tensor) -> Tensor:
        m = self.mask8(x8) + F.interpolate(self.mask16(x16), scale_factor=2, mode="nearest")
        m = self.mask4(x4) + F.interpolate(m, scale_factor=2, mode="nearest")
        return self.to_mask(m)[:, 0]

    def _pooled(self, x: Tensor) -> Tensor:
        """Generalised mean over the picture ``[B, C]``."""
        p = self.power.clamp(1, 6)
        return x.float().clamp_min(1e-4).pow(p).mean((2, 3)).pow(1 / p)
