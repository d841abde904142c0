"""Forms packed into tensors: padded arrays of primitives and strokes, in unit coordinates.

Unit coordinates: the centre of the form's box is the origin and half the diagonal of that box
is 1, so that every form lies inside the unit ball whatever its size in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace

import numpy as np
import torch
from torch import Tensor

from simsearch.synthetic.form import KINDS, LOSS, Form, Primitive, Relief

#: Primitives of each kind that a packed form has room for.
ROOM = {"rod": 30, "ring": 8, "slab": 8, "drum": 8, "ball": 10}
LAYERS, STROKES = 4, 26
#: Which numbers of a primitive are lengths and scale with the form; ridges per mm scale inversely.
_SCALES = {
    "rod": (1, 1, 1, 0, 1, -1),
    "ring": (1, 1, 0, 0, 0, 0),
    "slab": (1, 1, 1, 1, 1, 0),
    "drum": (1, 1, 1, 1, 0, 0),
    "ball": (1, 1, 1, 0, 0, 0),
}
METALS = ("copper alloy", "iron", "silver", "lead", "bone", "gold")


@dataclass
class Solids:
    """Primitives of one kind: ``[B, P, ...]``; ``here`` 1 solid, -1 cut, 0 absent."""

    centre: Tensor
    frame: Tensor
    size: Tensor
    here: Tensor
    part: Tensor
    loss: Tensor


@dataclass
class Marks:
    """Relief of one face: strokes ``[B, LAYERS, STROKES, 9]`` and repeats ``[B, LAYERS, 4]``."""

    strokes: Tensor
    repeats: Tensor


@dataclass
class Batch:
    """``B`` forms. ``scale`` is mm per unit ``[B]``; ``middle`` the origin in mm ``[B, 3]``."""

    solids: dict[str, Solids]
    front: Marks
    back: Marks
    metals: Tensor
    coating: Tensor
    scale: Tensor
    middle: Tensor
    names: list[str]
    parts: list[list[str]]

    def __len__(self) -> int:
        return len(self.names)

    def to(self, device: torch.device | str) -> Batch:
        """The same batch on another device."""
        moved = {
            kind: Solids(**{k: v.to(device, non_blocking=True) for k, v in vars(s).items()})
            for kind, s in self.solids.items()
        }
        front, back = (
            Marks(m.strokes.to(device), m.repeats.to(device)) for m in (self.front, self.back)
        )
        return Batch(
            moved,
            front,
            back,
            self.metals.to(device),
            self.coating.to(device),
            self.scale.to(device),
            self.middle.to(device),
            self.names,
            self.parts,
        )

    def trimmed(self) -> Batch:
        """The same batch without room that no form in it uses: much faster on a CPU."""
        solids = {}
        for kind, s in self.solids.items():
            used = max(2, int((s.here != 0).any(0).sum()))  # sizes 0 and 1 compile anew
            solids[kind] = Solids(**{k: v[:, :used] for k, v in vars(s).items()})
        wide = (self.front.strokes + self.back.strokes)[..., 4:6]
        drawn = (wide > 0).any(-1).any(0)
        layers, used = max(2, _last(drawn.any(1))), max(2, _last(drawn.any(0)))
        marks = [
            Marks(m.strokes[:, :layers, :used], m.repeats[:, :layers])
            for m in (self.front, self.back)
        ]
        return replace(self, solids=solids, front=marks[0], back=marks[1])

    def repeat(self, times: int) -> Batch:
        """Each form ``times`` in a row, for several views of one object."""

        def again(t: Tensor) -> Tensor:
            return t.repeat_interleave(times, 0)

        solids = {
            kind: Solids(**{k: again(v) for k, v in vars(s).items()})
            for kind, s in self.solids.items()
        }
        front, back = (Marks(again(m.strokes), again(m.repeats)) for m in (self.front, self.back))
        return Batch(
            solids,
            front,
            back,
            again(self.metals),
            again(self.coating),
            again(self.scale),
            again(self.middle),
            [n for n in self.names for _ in range(times)],
            [p for p in self.parts for _ in range(times)],
        )


def pack_arrays(forms: Sequence[Form]) -> dict[str, np.ndarray]:
    """The forms as named numpy arrays: cheap to make in worker processes and to send.

    Raises ValueError for a form with more primitives or strokes than there is room for.
    """
    out: dict[str, list[np.ndarray]] = {}
    for form in forms:
        low, high = form.bounds()
        middle = (low + high) / 2
        scale = float(np.linalg.norm(high - low) / 2)
        for key, value in _packed(form, middle, scale).items():
            out.setdefault(key, []).append(value)
    return {key: np.stack(values) for key, values in out.items()}


def unpack(arrays: dict[str, np.ndarray], names: list[str], parts: list[list[str]]) -> Batch:
    """The tensors of :func:`pack_arrays` as a :class:`Batch` on the CPU."""
    t = {k: torch.from_numpy(v) for k, v in arrays.items()}
    solids = {
        kind: Solids(*(t[f"{kind}.{field.name}"] for field in fields(Solids))) for kind in KINDS
    }
    return Batch(
        solids,
        Marks(t["front.strokes"], t["front.repeats"]),
        Marks(t["back.strokes"], t["back.repeats"]),
        t["metals"],
        t["coating"],
        t["scale"],
        t["middle"],
        names,
        parts,
    )


def pack(forms: Sequence[Form]) -> Batch:
    """The forms as one batch on the CPU."""
    return unpack(pack_arrays(forms), [f.name for f in forms], [f.parts() for f in forms])


def _packed(form: Form, middle: np.ndarray, scale: float) -> dict[str, np.ndarray]:
    parts = {name: i for i, name in enumerate(form.parts())}
    out: dict[str, np.ndarray] = {}
    for kind in KINDS:
        mine = [s for s in form.solids if s.kind == kind]
        if len(mine) > ROOM[kind]:
            raise ValueError(
                f"form {form.name!r} has {len(mine)} {kind}s, room is for {ROOM[kind]}"
            )
        for key, value in _packed_kind(kind, mine, parts, middle, scale).items():
            out[f"{kind}.{key}"] = value
    for face in ("front", "back"):
        marks = _packed_relief(getattr(form, face), middle, scale, form.name)
        out[f"{face}.strokes"], out[f"{face}.repeats"] = marks
    metals = dict(form.finish.metals)
    chances = np.array([metals.get(m, 0.0) for m in METALS], np.float32)
    out["metals"] = chances / chances.sum()
    out["coating"] = np.array([form.finish.tinned, form.finish.gilt], np.float32)
    out["scale"] = np.array(scale, np.float32)
    out["middle"] = middle.astype(np.float32)
    return out


def _packed_kind(
    kind: str, mine: list[Primitive], parts: dict[str, int], middle: np.ndarray, scale: float
) -> dict[str, np.ndarray]:
    room = ROOM[kind]
    centre = np.zeros((room, 3), np.float32)
    frame = np.tile(np.eye(3, dtype=np.float32), (room, 1, 1))
    size = np.tile(np.array([0.1, 0.1, 0.1, 0.1, 0.01, 0], np.float32), (room, 1))
    here, part = np.zeros(room, np.float32), np.zeros(room, np.int64)
    loss = np.zeros(room, np.float32)
    powers = np.array(_SCALES[kind], np.float32)
    for i, solid in enumerate(mine):
        centre[i] = (solid.centre - middle) / scale
        frame[i] = solid.frame
        size[i] = np.asarray(solid.size, np.float32) * np.float32(1 / scale) ** powers
        here[i] = -1 if solid.cut else 1
        part[i] = parts[solid.part]
        loss[i] = LOSS.get(solid.part.split()[-1], 0.0)
    return {
        "centre": centre, "frame": frame, "size": size, "here": here, "part": part, "loss": loss,
    }  # fmt: skip


def _packed_relief(
    relief: Relief, middle: np.ndarray, scale: float, name: str
) -> tuple[np.ndarray, np.ndarray]:
    if len(relief.repeats) > LAYERS:
        raise ValueError(f"form {name!r} has {len(relief.repeats)} relief layers, not {LAYERS}")
    strokes = np.zeros((LAYERS, STROKES, 9), np.float32)
    repeats = np.zeros((LAYERS, 4), np.float32)
    repeats[:, 0] = 1
    used = [0] * LAYERS
    for i, r in enumerate(relief.repeats):
        centre = (np.asarray(r.centre, np.float32) - middle[:2]) / scale
        repeats[i] = (r.times, float(r.mirror), *centre)
    for s in relief.strokes:
        # Unfolded marks that outgrow their layer spill over into the next unrepeated one.
        layer = s.layer
        while used[layer] >= STROKES and s.layer == 0:
            layer = next((j for j in range(layer + 1, LAYERS) if j >= len(relief.repeats)), -1)
            if layer < 0:
                raise ValueError(f"form {name!r} has more relief strokes than there is room for")
        if used[layer] >= STROKES:
            raise ValueError(f"form {name!r}: layer {layer} has over {STROKES} strokes")
        a = (np.asarray(s.a, np.float32) - middle[:2]) / scale
        b = (np.asarray(s.b, np.float32) - middle[:2]) / scale
        strokes[layer, used[layer]] = (
            *a, *b, s.width_a / scale, s.width_b / scale, s.height / scale, s.radius / scale,
            s.enamel,
        )  # fmt: skip
        used[layer] += 1
    return strokes, repeats


def _last(used: Tensor) -> int:
    """One more than the index of the last true entry, at least 1."""
    where = used.nonzero()
    return int(where.max()) + 1 if len(where) else 1
