"""The index on disk: round trip, refusals, and being stopped at any moment."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from simsearch import files
from simsearch.errors import EncoderError, MissingIndexError, SimsearchError, StaleIndexError
from simsearch.index import (
    PhotoIndex,
    PhotoToIndex,
    build_index,
    open_index,
    save_index,
    storage,
    stored_file_problems,
)
from tests.tiny_set import GridEncoder, picture


def some_index(seed: int = 0, count: int = 5) -> PhotoIndex:
    rng = np.random.default_rng(seed)
    vectors = rng.normal(size=(count, 8)).astype(np.float32)
    vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
    return PhotoIndex(
        vectors,
        tuple(f"p{number}" for number in range(count)),
        tuple(f"{seed:064x}" for _ in range(count)),
        "grid",
        "f" * 64,
        rng.integers(-127, 128, size=(count, 2, 3, 4)).astype(np.int8),
        np.ones(count, np.float32),
        (np.arange(4) + seed + np.zeros((count, 1))).astype(np.float32),
    )


def same(one: PhotoIndex, other: PhotoIndex) -> bool:
    return (
        np.array_equal(one.vectors, other.vectors)
        and one.photo_ids == other.photo_ids
        and one.sha256 == other.sha256
        and np.array_equal(one.patches_at(0), other.patches_at(0))
        and one.squares is not None
        and other.squares is not None
        and np.array_equal(one.squares, other.squares)
    )


def test_what_is_saved_is_opened(tmp_path: Path) -> None:
    index = some_index()
    save_index(index, tmp_path / "index")
    opened = open_index(tmp_path / "index")
    assert same(index, opened)
    assert (opened.encoder_name, opened.encoder_fingerprint) == ("grid", "f" * 64)
    assert isinstance(opened.patches, np.memmap)
    assert not isinstance(opened.vectors, np.memmap)
    assert stored_file_problems(tmp_path / "index") == []


def test_a_new_index_takes_the_old_ones_place(tmp_path: Path) -> None:
    save_index(some_index(0), tmp_path)
    (tmp_path / "calibration.json").write_text("{}")
    save_index(some_index(1), tmp_path)
    assert same(open_index(tmp_path), some_index(1))
    kinds = sorted(path.name.split("-")[0] for path in tmp_path.iterdir())
    assert kinds == [
        "calibration.json",
        "index.json",
        "patch_scales",
        "patches",
        "squares",
        "vectors",
    ]


def test_saving_the_same_index_again_keeps_its_files(tmp_path: Path) -> None:
    save_index(some_index(), tmp_path)
    save_index(some_index(), tmp_path)
    assert same(open_index(tmp_path), some_index())


class Stopped(BaseException):
    """Stands in for the power going off; no handler may swallow it."""


def count_steps(folder: Path, monkeypatch: pytest.MonkeyPatch, stop_at: int) -> int:
    """Save index 1 over index 0, stopping before disk step ``stop_at``; return steps made."""
    done = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def step(*arguments: Any, **named: Any) -> Any:
            nonlocal done
            if done == stop_at:
                raise Stopped
            done += 1
            return real(*arguments, **named)

        return step

    with monkeypatch.context() as patch:
        for name in ("open", "fsync", "replace", "unlink"):
            patch.setattr(files.os, name, counted(getattr(os, name)))
        with contextlib.suppress(Stopped):
            save_index(some_index(1), folder)
    return done


def test_stopped_at_any_step_the_old_index_or_the_new_one_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = tmp_path / "whole"
    save_index(some_index(0), whole)
    steps = count_steps(whole, monkeypatch, stop_at=-1)
    assert steps >= 5 * 4  # five files, each opened, synced, renamed, and its folder synced
    outcomes = []
    for stop_at in range(steps):
        folder = tmp_path / f"stopped-{stop_at}"
        save_index(some_index(0), folder)
        count_steps(folder, monkeypatch, stop_at)
        opened = open_index(folder)
        is_old, is_new = same(opened, some_index(0)), same(opened, some_index(1))
        assert is_old != is_new
        assert stored_file_problems(folder) == []
        outcomes.append(is_new)
        save_index(some_index(1), folder)  # and the next rebuild sets all right
        assert same(open_index(folder), some_index(1))
        assert len(list(folder.iterdir())) == 5  # nothing half-written stays behind
    # One moment divides the old from the new.
    assert outcomes == sorted(outcomes)
    assert not outcomes[0] and outcomes[-1]


def test_a_rebuild_that_ends_while_the_index_is_being_opened_does_no_harm(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    save_index(some_index(0), tmp_path)
    real, calls = storage._map, 0

    def rebuilt_meanwhile(*arguments: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls == 1:  # index.json has been read, its arrays not yet
            save_index(some_index(1), tmp_path)
        return real(*arguments)

    monkeypatch.setattr(storage, "_map", rebuilt_meanwhile)
    assert same(open_index(tmp_path), some_index(1))


def test_no_index_names_the_command(tmp_path: Path) -> None:
    with pytest.raises(MissingIndexError) as caught:
        open_index(tmp_path / "set" / "index")
    assert f"simsearch index {tmp_path / 'set'}" in caught.value.hint


def change(folder: Path, alter: Callable[[dict[str, Any]], None]) -> None:
    path = folder / "index.json"
    description = json.loads(path.read_text())
    alter(description)
    path.write_text(json.dumps(description))


ALTERATIONS: dict[str, Callable[[dict[str, Any]], None]] = {
    "another format": lambda d: d.update(format="notes"),
    "a later version": lambda d: d.update(version=2),
    "another dim": lambda d: d.update(dim=9),
    "dim is text": lambda d: d.update(dim="8"),
    "a photo too few": lambda d: d["photos"].pop(),
    "a photo without hash": lambda d: d["photos"][0].pop("sha256"),
    "a hash that is none": lambda d: d["photos"][0].update(sha256="../x"),
    "no encoder": lambda d: d.pop("encoder"),
    "no vectors": lambda d: d["files"].pop("vectors"),
    "scales without patches": lambda d: d["files"].pop("patches"),
    "a file elsewhere": lambda d: d["files"]["vectors"].update(file="../../vectors.npy"),
    "another array's file": lambda d: d["files"]["vectors"].update(
        file=d["files"]["patches"]["file"]
    ),
    "another shape": lambda d: d["files"]["vectors"].update(shape=[8, 5]),
    "an entry that is text": lambda d: d["files"].update(vectors="vectors.npy"),
    "a file that is gone": lambda d: d["files"]["vectors"].update(
        file="vectors-0123456789abcdef.npy"
    ),
}


@pytest.mark.parametrize("name", ALTERATIONS)
def test_a_description_that_does_not_fit_is_refused(tmp_path: Path, name: str) -> None:
    save_index(some_index(), tmp_path)
    change(tmp_path, ALTERATIONS[name])
    with pytest.raises(StaleIndexError) as caught:
        open_index(tmp_path)
    assert "simsearch index" in caught.value.hint


@pytest.mark.parametrize("content", [b"", b"[]", b"{", b"\xff"])
def test_a_description_that_is_no_description_is_refused(tmp_path: Path, content: bytes) -> None:
    save_index(some_index(), tmp_path)
    (tmp_path / "index.json").write_bytes(content)
    with pytest.raises(StaleIndexError):
        open_index(tmp_path)
    assert stored_file_problems(tmp_path)


def test_an_array_of_python_objects_is_never_unpickled(tmp_path: Path) -> None:
    save_index(some_index(), tmp_path)
    path = next(tmp_path.glob("vectors-*.npy"))
    np.save(path, np.array([{"a": 1}], dtype=object), allow_pickle=True)
    with pytest.raises(StaleIndexError):
        open_index(tmp_path)


@pytest.mark.parametrize("kept", [0, 10, 100, -1])
def test_an_array_cut_short_is_refused(tmp_path: Path, kept: int) -> None:
    save_index(some_index(), tmp_path)
    path = next(tmp_path.glob("vectors-*.npy"))
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(StaleIndexError):
        open_index(tmp_path)
    assert stored_file_problems(tmp_path)


def to_index(folder: Path, count: int) -> list[PhotoToIndex]:
    photos = []
    for number in range(count):
        path = folder / f"{number}.png"
        picture((10 * number % 255, 90, 200), number).save(path)
        photos.append(PhotoToIndex(f"p{number}", files.sha256_of(path), path))
    return photos


def test_building_encodes_every_photo_in_order(tmp_path: Path) -> None:
    photos, encoder = to_index(tmp_path, 35), GridEncoder()
    calls: list[tuple[int, int]] = []
    index = build_index(photos, encoder, progress=lambda *call: calls.append(call))
    from simsearch.photo import open_photo

    opened = [open_photo(photo.path) for photo in photos]
    np.testing.assert_allclose(index.vectors, encoder.embed(opened), atol=1e-6)
    assert calls == [(0, 35), (16, 35), (32, 35), (35, 35)]
    grids = encoder.patches(opened)
    for position in (0, 17, 34):
        largest = np.abs(grids[position]).max()
        close = np.abs(index.patches_at(position) - grids[position]).max()
        assert close <= largest / 127 / 2 + 1e-6


def test_an_encoder_without_patches_gives_an_index_without(tmp_path: Path) -> None:
    class Plain(GridEncoder):
        def patches(self, images: Any) -> Any:
            raise EncoderError("This encoder has no patches.")

    photos = to_index(tmp_path, 3)
    assert build_index(photos, Plain()).patches is None
    assert build_index(photos, GridEncoder(), with_patches=False).patches is None
    index = build_index(photos, Plain())
    save_index(index, tmp_path / "index")
    assert open_index(tmp_path / "index").patches is None


@pytest.mark.parametrize("answer", [np.ones((1, 4)), np.full((3, 4), np.nan), np.ones(3)])
def test_an_encoder_that_answers_nonsense_is_named(tmp_path: Path, answer: Any) -> None:
    class Broken(GridEncoder):
        def embed(self, images: Any) -> Any:
            return answer

    with pytest.raises(SimsearchError, match="'grid' returned"):
        build_index(to_index(tmp_path, 3), Broken())
