"""The page as served: who may frame it, what it gives out, what it takes in."""

from __future__ import annotations

import os
import socket
import urllib.error
import urllib.request
from collections.abc import Iterator
from email.message import Message
from pathlib import Path

import pytest

import simsearch.encode
from simsearch import open_set
from simsearch.errors import SimsearchError
from simsearch.page.intake import MAX_UPLOAD_BYTES, Tray
from simsearch.page.refine import look_at
from simsearch.page.start import serving
from tests.page.small_set import COLOURS, make_small_set
from tests.page.test_render import tray_of
from tests.tiny_set import GridEncoder, make_set


@pytest.fixture(scope="module")
def small_set(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_small_set(tmp_path_factory.mktemp("small") / "set")


@pytest.fixture(scope="module")
def address(small_set: Path) -> Iterator[str]:
    with serving(open_set(small_set)) as (_, where):
        yield where


def fetch(url: str, body: bytes | None = None, **headers: str) -> tuple[int, Message]:
    # The proxy of a reader's machine has no business with its own address.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    try:
        with opener.open(urllib.request.Request(url, body, headers), timeout=20) as got:
            return got.status, got.headers
    except urllib.error.HTTPError as error:
        return error.code, error.headers


def test_it_is_served_to_this_computer_only(address: str) -> None:
    assert address.startswith("http://127.0.0.1:")


def test_headers_keep_other_sites_out(address: str) -> None:
    status, headers = fetch(address)
    assert status == 200
    policy = headers["content-security-policy"]
    for part in ("default-src 'self'", "connect-src 'self'", "frame-ancestors 'none'"):
        assert part in policy
    assert "http" not in policy  # no other address is allowed anything
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"


@pytest.mark.parametrize("path", ["/etc/passwd", "pyproject.toml", "types.csv"])
def test_no_file_of_the_machine_is_given_out(address: str, small_set: Path, path: str) -> None:
    wanted = small_set / path if path == "types.csv" else Path(path)
    status, _ = fetch(f"{address}gradio_api/file={wanted}")
    assert status in (403, 404)


def test_a_file_over_the_limit_is_refused(address: str) -> None:
    boundary = "xxfenxx"
    body = (
        (
            f'--{boundary}\r\nContent-Disposition: form-data; name="files"; filename="a.jpg"\r\n'
            "Content-Type: image/jpeg\r\n\r\n"
        ).encode()
        + b"\0" * (MAX_UPLOAD_BYTES + 1)
        + f"\r\n--{boundary}--\r\n".encode()
    )
    kind = f"multipart/form-data; boundary={boundary}"
    status, _ = fetch(f"{address}gradio_api/upload", body, **{"Content-Type": kind})
    assert status == 413


def test_a_taken_port_is_told_with_what_to_do(small_set: Path) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        port = holder.getsockname()[1]
        with (
            pytest.raises(SimsearchError, match=str(port)) as caught,
            serving(open_set(small_set), port=port),
        ):
            pass
    assert "--port" in caught.value.hint


def test_settings_of_the_framework_are_put_back(small_set: Path) -> None:
    before = dict(os.environ)
    with serving(open_set(small_set)):
        folder = Path(os.environ["GRADIO_TEMP_DIR"])
        assert folder.is_dir()
        assert os.environ["GRADIO_ANALYTICS_ENABLED"] == "False"
    assert not folder.exists()
    assert dict(os.environ) == before


def test_an_error_while_looking_becomes_words_on_the_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(simsearch.encode, "load_encoder", lambda name="grid": GridEncoder(name))
    reference = open_set(make_set(tmp_path / "set"))
    html = look_at(tray_of(COLOURS["knee"]), reference)[0]
    assert "simsearch index" in html
    assert "Nothing was lost" in html


def test_a_fault_of_ours_is_told_without_its_trace(small_set: Path) -> None:
    class Broken:
        def look(self, photos: object) -> None:
            raise RuntimeError("secret inner words")

    html = look_at(Tray(), Broken())[0]  # type: ignore[arg-type]
    assert "Something went wrong inside simsearch." in html
    assert "secret" not in html
