"""Encoders by name, and what must not be imported to use the ordinary parts."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from simsearch.encode import load_encoder
from simsearch.errors import EncoderError

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("name", ["", "builtin", "openclip:x", "https://example.org/w"])
def test_an_unknown_name_lists_what_is_known(name: str) -> None:
    with pytest.raises(EncoderError) as caught:
        load_encoder(name)
    assert "built-in" in str(caught.value) and "open_clip:" in str(caught.value)


def test_ordinary_work_imports_no_vision_library(tmp_path: Path) -> None:
    photo = tmp_path / "a.jpg"
    Image.new("RGB", (40, 30), "grey").save(photo)
    code = f"""
import sys
import simsearch, simsearch.encode, simsearch.photo
from simsearch.encode import registry
simsearch.photo.open_photo({str(photo)!r}, max_side=20)
simsearch.photo.list_photos({str(tmp_path)!r})
if "torch" in sys.modules:
    sys.exit("torch was imported for reading photos")
try:
    simsearch.encode.load_encoder("nothing")
except simsearch.errors.EncoderError:
    pass
try:
    from simsearch.encode import builtin
except ImportError:
    builtin = None
heavy = {{"torchvision", "timm", "open_clip", "gradio", "skimage", "cv2"}} & set(sys.modules)
sys.exit(f"imported: {{sorted(heavy)}}" if heavy else 0)
"""
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
