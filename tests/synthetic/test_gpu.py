"""The GPU kernel walks rays as the eager form does.

Runs where there is a CUDA GPU, or with Triton's interpreter on a CPU: TRITON_INTERPRET=1.
"""

from __future__ import annotations

import importlib.util
import os

import pytest
import torch

from simsearch.synthetic.batch import Batch, pack
from simsearch.synthetic.distance import Damage
from simsearch.synthetic.form import Form
from simsearch.synthetic.trace import FLOOR, START, Camera, march
from tests.synthetic.shapes import turn_x, turn_y

INTERPRETED = os.environ.get("TRITON_INTERPRET", "0") == "1"
pytestmark = [
    pytest.mark.skipif(
        importlib.util.find_spec("triton") is None, reason="Triton is not installed"
    ),
    pytest.mark.skipif(
        not (torch.cuda.is_available() or INTERPRETED),
        reason="needs a CUDA GPU, or TRITON_INTERPRET=1",
    ),
]
STEPS = 12


def _forms() -> list[Form]:
    one, two = Form("one"), Form("two")
    one.drum("disc", (0, 0, 0), 10, 8, height=2)
    one.drum("hole", (4, 0, 0), 2, height=8, cut=True)
    one.rod("spring", (-8, 6, 3), (8, 6, 3), 2, 1.5, ridges=(0.3, 8), flat=0.6)
    one.ball("boss", (0, 0, 1), (4, 3, 2), turn=30)
    two.ring("hoop", (0, 0, 0), 10, 2, gap=50, flat=0.5)
    two.slab("plate", (0, 0, 1), 12, 9, 4, turn=20)
    two.rod("pin", (0, 11, 2), (0, -12, 2), 1.0)
    return [one, two]


def _damage() -> Damage:
    damage = Damage.none(2)
    damage.normal[:, 0] = torch.tensor([[0.6, 0.8, 0.0], [0.0, 1.0, 0.0]])
    damage.offset[:, 0] = torch.tensor([0.5, 0.4])
    damage.normal[1, 1] = torch.tensor([-1.0, 0.0, 0.0])
    damage.offset[1, 1] = 0.6
    damage.rough = torch.tensor([0.03, 0.0])
    damage.lump = torch.tensor([0.0, 0.01])
    damage.phase = torch.tensor([[0.1, 0.5, 0.9], [0.3, 0.2, 0.7]])
    damage.bend[1] = torch.tensor([0.0, -1.0, 0.0, 1.0, 0.0, 0.0, -0.1, 0.8, 0.5])
    return damage


def _rays(seed: int = 0) -> tuple[Camera, torch.Tensor, torch.Tensor, torch.Tensor]:
    g = torch.Generator().manual_seed(seed)
    turn = torch.cat([turn_x(20) @ turn_y(-30), turn_y(150)])
    xy = torch.rand(2, 300, 2, generator=g) * 1.8 - 0.9
    depth = torch.full((2, 300), START)
    depth[:, ::17] = FLOOR  # rays that have already passed
    slack = torch.tensor([[0.0], [0.02]])
    return Camera(turn, torch.zeros(2, 2), torch.ones(2)), xy, depth, slack


@pytest.mark.parametrize("trimmed", [False, True])
def test_kernel_and_eager_form_walk_alike(trimmed: bool) -> None:
    from simsearch.synthetic import gpu

    batch: Batch = pack(_forms())
    batch = batch.trimmed() if trimmed else batch
    damage, (camera, xy, depth, slack) = _damage(), _rays()
    eager_depth, eager_gap = march(batch, damage, camera, xy, depth, slack, STEPS)
    device = "cuda" if torch.cuda.is_available() and not INTERPRETED else "cpu"
    moved = Damage(**{k: v.to(device) for k, v in vars(damage).items()})
    found_depth, found_gap = gpu.march(
        batch.to(device).solids, moved, camera.turn.to(device), xy.to(device), depth.to(device),
        slack.to(device), STEPS, FLOOR,
    )  # fmt: skip
    torch.testing.assert_close(found_depth.cpu(), eager_depth, atol=2e-4, rtol=0)
    stopped = eager_depth > FLOOR
    assert int((eager_gap[stopped].abs() < 0.02).sum()) > 50  # many rays do meet the forms
    torch.testing.assert_close(found_gap.cpu()[stopped], eager_gap[stopped], atol=2e-4, rtol=0)
