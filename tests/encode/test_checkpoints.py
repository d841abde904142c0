"""open_clip checkpoints, with tiny networks that the tests make and save themselves."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from simsearch.encode import Encoder, load_encoder
from simsearch.encode._torchvision import import_torchvision
from simsearch.encode.checkpoints import _square
from simsearch.errors import EncoderError

torch = pytest.importorskip("torch")
ROOT = Path(__file__).resolve().parents[2]
TEXT = {"context_length": 8, "vocab_size": 64, "width": 16, "heads": 2, "layers": 1}
CONFIGS = {
    "tiny-vit-test": {
        "embed_dim": 24,
        "vision_cfg": {
            "image_size": 32,
            "patch_size": 8,
            "layers": 2,
            "width": 32,
            "head_width": 16,
        },
        "text_cfg": TEXT,
    },
    "tiny-resnet-test": {
        "embed_dim": 24,
        "vision_cfg": {"image_size": 32, "layers": [1, 1, 1, 1], "width": 8, "patch_size": None},
        "text_cfg": TEXT,
    },
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two architectures made known to open_clip and their random weights."""
    if not _importable():
        pytest.skip("torchvision is not installed")
    pytest.importorskip("open_clip")
    import open_clip

    root = tmp_path_factory.mktemp("checkpoints")
    for number, (name, config) in enumerate(CONFIGS.items()):
        (root / f"{name}.json").write_text(json.dumps(config))
        open_clip.add_model_config(root / f"{name}.json")
        for seed in (1, 2):
            torch.manual_seed(10 * number + seed)
            model = open_clip.create_model(name, pretrained=None)
            torch.save(model.state_dict(), root / f"{name}-{seed}.pt")
            save_safetensors(model, root / f"{name}-{seed}.safetensors")
    return root


def _importable() -> bool:
    try:
        import_torchvision()
    except EncoderError:
        return False
    return True


def save_safetensors(model: Any, path: Path) -> None:
    from safetensors.torch import save_file

    save_file({k: v.contiguous() for k, v in model.state_dict().items()}, path)


def tiny(folder: Path, seed: int = 1, kind: str = "vit", ending: str = "safetensors") -> Encoder:
    name = f"tiny-{kind}-test"
    return load_encoder(f"open_clip:{name}/{folder / f'{name}-{seed}.{ending}'}")


def photos(count: int) -> list[Image.Image]:
    rng = np.random.default_rng(3)
    sizes = [(40, 40), (64, 20), (20, 64)]
    shapes = [sizes[i % 3] for i in range(count)]
    return [Image.fromarray(rng.integers(0, 256, (h, w, 3), dtype=np.uint8)) for w, h in shapes]


def test_vectors_are_unit_rows(folder: Path) -> None:
    encoder = tiny(folder)
    assert isinstance(encoder, Encoder)
    vectors = encoder.embed(photos(5))
    assert vectors.shape == (5, 24) and vectors.dtype == np.float32
    assert np.abs(np.linalg.norm(vectors, axis=1) - 1).max() < 1e-5
    assert encoder.dim == 24
    assert encoder.embed([]).shape == (0, 24)


def test_vectors_equal_the_networks_own(folder: Path) -> None:
    """The oracle is open_clip's own encode_image with its own preprocessing."""
    import open_clip

    path = folder / "tiny-vit-test-1.safetensors"
    model, _, prepare = open_clip.create_model_and_transforms("tiny-vit-test", str(path))
    square = photos(1)
    with torch.inference_mode():
        expected = model.eval().encode_image(prepare(square[0])[None], normalize=True).numpy()
    assert np.allclose(tiny(folder).embed(square), expected, atol=1e-5)


def test_batches_do_not_change_the_vectors(folder: Path) -> None:
    encoder, many = tiny(folder), photos(35)
    one_by_one = np.concatenate([encoder.embed([photo]) for photo in many])
    assert np.allclose(encoder.embed(many), one_by_one, atol=1e-5)


def test_patches_have_the_shape_of_the_grid(folder: Path) -> None:
    grid = tiny(folder).patches(photos(3))
    assert grid.shape == (3, 4, 4, 32) and grid.dtype == np.float32
    assert np.abs(np.linalg.norm(grid, axis=-1) - 1).max() < 1e-5
    assert tiny(folder).patches([]).shape == (0, 4, 4, 32)


def test_patches_are_laid_out_from_the_top_left(folder: Path) -> None:
    """Changing one corner of the photo changes the patch there more than the others.

    With a two-layer network of random weights each patch is still mostly its own pixels.
    """
    encoder = tiny(folder)
    rng = np.random.default_rng(8)
    before = rng.integers(0, 256, (32, 32, 3), dtype=np.uint8)
    after = before.copy()
    after[0:8, 24:32] = 255 - after[0:8, 24:32]
    first, second = encoder.patches([Image.fromarray(before), Image.fromarray(after)])
    change = 1 - (first * second).sum(axis=-1)
    assert np.unravel_index(change.argmax(), change.shape) == (0, 3)


def test_a_network_without_patch_tokens_says_so(folder: Path) -> None:
    encoder = tiny(folder, kind="resnet")
    assert encoder.embed(photos(2)).shape == (2, 24)
    with pytest.raises(EncoderError, match="gives no patch vectors"):
        encoder.patches(photos(1))


def test_the_fingerprint_follows_the_weights(folder: Path) -> None:
    prints = {tiny(folder, seed, kind).fingerprint for seed in (1, 2) for kind in ("vit", "resnet")}
    assert len(prints) == 4 and all(len(p) == 64 for p in prints)
    assert tiny(folder).fingerprint == tiny(folder, ending="pt").fingerprint


def test_the_fingerprint_follows_the_preprocessing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = tiny(folder)
    table = {"grey": {"mean": (0.5, 0.5, 0.5), "std": (0.5, 0.5, 0.5)}}
    import open_clip

    monkeypatch.setitem(open_clip.pretrained._PRETRAINED, "tiny-vit-test", table)
    after = tiny(folder)
    assert before.fingerprint != after.fingerprint
    assert not np.allclose(before.embed(photos(1)), after.embed(photos(1)), atol=1e-4)


def test_a_single_changed_weight_changes_the_fingerprint(folder: Path) -> None:
    from safetensors.torch import load_file, save_file

    state = load_file(folder / "tiny-vit-test-1.safetensors")
    state["visual.proj"][0, 0] += 1e-3
    path = folder / "changed.safetensors"
    save_file(state, path)
    changed = load_encoder(f"open_clip:tiny-vit-test/{path}")
    assert changed.fingerprint != tiny(folder).fingerprint


def test_long_photos_are_padded_and_not_cut() -> None:
    photo = Image.new("RGB", (40, 10), (10, 20, 30))
    photo.putpixel((0, 5), (255, 255, 255))
    square = _square(photo)
    assert square.size == (40, 40)
    assert square.getpixel((0, 0)) == (10, 20, 30)
    assert square.getpixel((0, 20)) == (255, 255, 255)


@pytest.mark.parametrize("reference", ["no-such-net/x", "", "/"])
def test_an_unknown_architecture(folder: Path, reference: str) -> None:
    with pytest.raises(EncoderError, match="no architecture"):
        load_encoder(f"open_clip:{reference}")


def test_an_unknown_tag_lists_the_tags(folder: Path) -> None:
    with pytest.raises(EncoderError, match="laion2b_s34b_b79k"):
        load_encoder("open_clip:ViT-B-32/no_such_tag")
    with pytest.raises(EncoderError, match="a file is needed"):
        load_encoder("open_clip:tiny-vit-test/no-such-file.pt")


def test_weights_of_another_network(folder: Path) -> None:
    path = folder / "tiny-resnet-test-1.safetensors"
    with pytest.raises(EncoderError, match="could not be loaded as tiny-vit-test"):
        load_encoder(f"open_clip:tiny-vit-test/{path}")


@pytest.mark.parametrize("ending", [".safetensors", ".pt"])
def test_a_damaged_checkpoint(folder: Path, ending: str) -> None:
    path = folder / f"damaged{ending}"
    path.write_bytes((folder / f"tiny-vit-test-1{ending}").read_bytes()[:500])
    with pytest.raises(EncoderError, match="could not be loaded"):
        load_encoder(f"open_clip:tiny-vit-test/{path}")


def test_a_checkpoint_with_code_in_it_is_not_run(folder: Path) -> None:
    class Harm:
        def __reduce__(self) -> tuple[Any, ...]:
            return (os.mkdir, (str(folder / "harm done"),))

    torch.save({"state_dict": Harm()}, folder / "harm.pt")
    with pytest.raises(EncoderError, match="could not be loaded"):
        load_encoder(f"open_clip:tiny-vit-test/{folder / 'harm.pt'}")
    assert not (folder / "harm done").exists()


def test_other_kinds_of_file_are_refused(folder: Path) -> None:
    path = folder / "weights.npz"
    path.write_bytes(b"x")
    with pytest.raises(EncoderError, match=r"must end in .*\.safetensors"):
        load_encoder(f"open_clip:tiny-vit-test/{path}")


def test_without_a_network_the_error_says_what_to_do(folder: Path, tmp_path: Path) -> None:
    code = """
from simsearch.encode import load_encoder
from simsearch.errors import EncoderError
try:
    load_encoder("open_clip:ViT-B-32/laion2b_s34b_b79k")
except EncoderError as error:
    print(error)
"""
    offline = {"HF_HUB_OFFLINE": "1", "HF_HOME": str(tmp_path), "HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", code],
        cwd=ROOT,
        env={**os.environ, **offline, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert "could not be downloaded" in done.stdout
    assert str(tmp_path) in done.stdout  # the cache folder
    assert "open_clip:ViT-B-32/FILE.safetensors" in done.stdout
