"""The built-in encoder with the weights that ship: what holds for any photo, and what it sees.

Photos are rendered typed forms, small and quick to make; their masks are known exactly.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import torch
from numpy.typing import NDArray
from PIL import Image
from safetensors.torch import load, save

from simsearch.encode import builtin, load_encoder
from simsearch.encode.builtin import BuiltIn
from simsearch.encode.framing import Square, square_around, whole
from simsearch.encode.network import Network, Shape
from simsearch.errors import EncoderError
from simsearch.synthetic.batch import pack
from simsearch.synthetic.render import Shot, render
from simsearch.synthetic.typed import typed_form

ROOT = Path(__file__).resolve().parents[2]
Mask = NDArray[np.bool_]
Photos = list[Image.Image]

#: Types with few solids, which render quickly, as different in shape as can be.
TYPES = (
    "button-brooch", "button-cast-loop", "early-disc", "hairpin-globular", "langton-down",
    "lead-shot", "medieval-annular", "penannular-a", "rotary-key", "short-cross-penny",
)  # fmt: skip
SIDE = 80


@pytest.fixture(scope="module")
def encoder() -> BuiltIn:
    return builtin.load()


@pytest.fixture(scope="module")
def rendered() -> tuple[Photos, list[Mask]]:
    """One photo of each type with its mask."""
    photos, masks = [], []
    shot = Shot(view="front", tilt=10, losses=0, weather=0.4, fill=(0.5, 0.75), plain=True)
    for i, type_id in enumerate(TYPES):
        form = typed_form(type_id, np.random.default_rng(i))
        shots = render(pack([form]), shot, SIDE, seed=i, parts=False)
        pixels = (shots.picture[0].permute(1, 2, 0).numpy() * 255).astype(np.uint8)
        photos.append(Image.fromarray(pixels))
        masks.append(shots.mask[0].numpy())
    return photos, masks


@pytest.fixture(scope="module")
def vectors(encoder: BuiltIn, rendered: tuple[Photos, list[Mask]]) -> NDArray[np.float32]:
    return encoder.embed(rendered[0])


# ---- any photo ------------------------------------------------------------------------------
def test_rows_are_unit_vectors(encoder: BuiltIn, vectors: NDArray[np.float32]) -> None:
    assert vectors.shape == (len(TYPES), encoder.dim) and vectors.dtype == np.float32
    np.testing.assert_allclose(np.linalg.norm(vectors, axis=1), 1, atol=1e-5)


def test_a_patch_is_as_long_as_it_is_of_the_object(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]]
) -> None:
    patches = encoder.patches(rendered[0][:2])
    masks = encoder.masks(rendered[0][:2])
    assert patches.dtype == masks.dtype == np.float32
    grid = patches.shape[1]
    assert patches.shape[:3] == (2, grid, grid)
    share = masks.reshape(2, grid, masks.shape[1] // grid, grid, -1).mean((2, 4))
    np.testing.assert_allclose(np.linalg.norm(patches, axis=-1), share, atol=1e-4)
    assert share.min() < 0.1 and share.max() > 0.9
    assert encoder.patches([]).shape == (0, *patches.shape[1:])
    assert encoder.masks([]).shape == (0, *masks.shape[1:])


def test_a_quarter_turn_turns_patches_and_mask(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]]
) -> None:
    photo = rendered[0][0]
    turned = photo.transpose(Image.Transpose.ROTATE_90)
    for output in (encoder.patches, encoder.masks):
        one, other = output([photo])[0], output([turned])[0]
        assert np.abs(np.rot90(one) - other).mean() < 0.03


def test_no_photos_no_rows(encoder: BuiltIn) -> None:
    assert encoder.embed([]).shape == (0, encoder.dim) and encoder.squares([]) == []


def test_a_photo_alone_has_the_vector_it_has_among_others(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]], vectors: NDArray[np.float32]
) -> None:
    photos = rendered[0]
    for i in (0, len(photos) - 1):  # the last one was in another batch
        np.testing.assert_allclose(encoder.embed([photos[i]])[0], vectors[i], atol=1e-4)
    backwards = encoder.embed([photos[5], photos[2]])
    np.testing.assert_allclose(backwards, vectors[[5, 2]], atol=1e-4)


@pytest.mark.parametrize("size", [(1, 1), (3, 200), (150, 90)])
def test_photos_of_any_size_are_taken(encoder: BuiltIn, size: tuple[int, int]) -> None:
    found = encoder.embed([Image.new("RGB", size, (120, 130, 90))])
    assert found.shape == (1, encoder.dim) and np.isfinite(found).all()


# ---- fingerprint and weights ----------------------------------------------------------------
def test_the_fingerprint_is_that_of_the_weights(encoder: BuiltIn) -> None:
    weights = builtin.WEIGHTS.read_bytes()
    assert BuiltIn(weights).fingerprint == encoder.fingerprint
    assert len(encoder.fingerprint) == 64 and int(encoder.fingerprint, 16)
    state = load(weights)
    state["power"] = state["power"] + 0.5
    header = json.loads(weights[8 : 8 + int.from_bytes(weights[:8], "little")])
    other = save(state, metadata=header["__metadata__"])
    assert BuiltIn(other).fingerprint != encoder.fingerprint


@pytest.mark.parametrize("name", ["FIND_SIZE", "SIZE", "TURNS", "FILL"])
def test_the_fingerprint_changes_with_the_settings(encoder: BuiltIn, name: str) -> None:
    """Run the module anew with one constant changed; the fingerprint must not be the same."""
    value = getattr(builtin, name)
    source = Path(builtin.__file__).read_text("utf-8")
    where = "_SETTINGS = "
    assert source.count(f"\n{where}") == 1
    changed = source.replace(f"\n{where}", f"\n{name} = {value!r} * 2\n{where}")
    module = {"__name__": "changed", "__file__": builtin.__file__}
    exec(compile(changed, "changed", "exec"), module)
    assert module["BuiltIn"](builtin.WEIGHTS.read_bytes()).fingerprint != encoder.fingerprint  # type: ignore[operator]


def _without_a_tensor(weights: bytes) -> bytes:
    state = load(weights)
    del state["to_vector.weight"]
    return save(state)


def _of_another_shape(weights: bytes) -> bytes:
    state = load(weights)
    state["to_vector.weight"] = state["to_vector.weight"][:8].contiguous()
    return save(state)


@pytest.mark.parametrize("harm", [
    lambda w: b"", lambda w: w[:1000], lambda w: w[: len(w) // 2], lambda w: b"\xff" * 4096,
    _without_a_tensor, _of_another_shape,
])  # fmt: skip
def test_damaged_weights_are_said_to_be_damaged(harm) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(EncoderError, match="damaged") as caught:
        BuiltIn(harm(builtin.WEIGHTS.read_bytes()))
    assert caught.value.hint


def test_missing_weights_are_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(builtin, "WEIGHTS", tmp_path / "none.safetensors")
    builtin.load.cache_clear()
    try:
        with pytest.raises(EncoderError, match="missing") as caught:
            load_encoder("built-in")
    finally:
        builtin.load.cache_clear()
    assert "none.safetensors" in str(caught.value) and caught.value.hint


# ---- what it sees ---------------------------------------------------------------------------
def test_a_quarter_turn_changes_little(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]], vectors: NDArray[np.float32]
) -> None:
    turned = encoder.embed([p.transpose(Image.Transpose.ROTATE_90) for p in rendered[0][:6]])
    assert ((turned * vectors[:6]).sum(1) > 0.97).all()


def _pasted(photo: Image.Image, mask: Mask, ground: tuple[int, int, int]) -> Image.Image:
    pixels = np.asarray(photo).copy()
    pixels[~mask] = ground
    return Image.fromarray(pixels)


def test_another_ground_matters_less_than_another_object(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]]
) -> None:
    photos, masks = rendered
    light, dark = (
        encoder.embed([_pasted(p, m, ground) for p, m in zip(photos, masks, strict=True)])
        for ground in ((205, 202, 190), (70, 60, 50))
    )
    across = light @ dark.T
    own = np.diag(across)
    others = (light @ light.T)[~np.eye(len(photos), dtype=bool)]
    # Other objects on the very same ground are further off than the same one on another.
    assert np.median(own) > np.quantile(others, 0.9) + 0.1
    assert (across.argmax(1) == np.arange(len(photos))).sum() >= len(photos) - 2


def _overlap(a: Square, b: Square) -> float:
    """Intersection over union of two squares."""

    def shared(p: float, q: float) -> float:
        return max(0.0, min(p + a.side / 2, q + b.side / 2) - max(p - a.side / 2, q - b.side / 2))

    both = shared(a.x, b.x) * shared(a.y, b.y)
    return both / (a.side**2 + b.side**2 - both)


def test_the_object_is_found_in_its_photo(
    encoder: BuiltIn, rendered: tuple[Photos, list[Mask]]
) -> None:
    photos, masks = rendered
    good = 0
    for photo, mask, found in zip(photos, masks, encoder.squares(photos), strict=True):
        true = square_around(mask.astype(np.float32), whole(photo))
        assert true is not None
        rows, cols = np.nonzero(mask)
        margin = 0.03 * SIDE
        held = (
            found.x - found.side / 2 - margin <= cols.min()
            and found.x + found.side / 2 + margin >= cols.max() + 1
            and found.y - found.side / 2 - margin <= rows.min()
            and found.y + found.side / 2 + margin >= rows.max() + 1
        )
        good += held and _overlap(true, found) > 0.6
    assert good >= 9


@pytest.mark.parametrize("tone", [60, 128, 230])
def test_an_empty_picture_is_taken_whole(encoder: BuiltIn, tone: int) -> None:
    photo = Image.new("RGB", (120, 90), (tone,) * 3)
    assert encoder.squares([photo]) == [whole(photo)]


# ---- as shipped -----------------------------------------------------------------------------
def test_looking_with_what_ships_imports_no_vision_library() -> None:
    if not (ROOT / "reference_index" / "photos.csv").is_file():
        pytest.skip("the shipped set has no table of photos yet")
    code = """
import sys
import simsearch
from simsearch.encode import load_encoder
from PIL import Image
shipped = simsearch.open_set()
assert shipped.types
vector = load_encoder("built-in").embed([Image.new("RGB", (64, 64), "grey")])
assert vector.shape[0] == 1
heavy = {"torchvision", "timm", "open_clip"} & {name.split(".")[0] for name in sys.modules}
sys.exit(f"imported: {sorted(heavy)}" if heavy else 0)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


# ---- the network ----------------------------------------------------------------------------
@pytest.mark.parametrize("shape", [Shape(), Shape(patch=8, blocks=(1, 2, 3, 1))])
def test_folded_norms_change_nothing(shape: Shape) -> None:
    torch.manual_seed(0)
    network = Network(shape)
    for module in network.modules():  # as after some training
        if isinstance(module, torch.nn.BatchNorm2d):
            torch.nn.init.uniform_(module.running_mean, -0.2, 0.2)
            torch.nn.init.uniform_(module.running_var, 0.5, 2)
            torch.nn.init.uniform_(module.weight, 0.5, 1.5)
    pictures = torch.rand(2, 3, 64, 64)
    with torch.inference_mode():
        before = network.eval()(pictures)
        after = network.folded()(pictures)
    assert before.patches.shape[1] == 64 // shape.patch
    for name in ("vector", "patches", "mask"):
        torch.testing.assert_close(
            getattr(after, name), getattr(before, name), atol=1e-4, rtol=1e-4
        )


def test_weights_name_the_sizes_of_their_network() -> None:
    shape = Shape(stem=8, widths=(8, 16, 24, 32), blocks=(1, 1, 2, 1), patch=8, dim=32, patch_dim=8)
    state = {k: v for k, v in Network(shape).state_dict().items() if v.is_floating_point()}
    encoder = BuiltIn(save(state, metadata={"shape": shape.words()}))
    photo = Image.new("RGB", (60, 40), "grey")
    assert encoder.embed([photo]).shape == (1, 32)
    assert encoder.patches([photo]).shape == (1, builtin.SIZE // 8, builtin.SIZE // 8, 8)
    assert Shape.read(shape.words()) == shape
    for words in ("[]", '{"width": 3}', "nothing"):
        with pytest.raises(ValueError):
            Shape.read(words)
        with pytest.raises(EncoderError, match="damaged or of another version"):
            BuiltIn(save(state, metadata={"shape": words}))
