"""An index kept up to date on disk: what is encoded, what is kept, and being stopped."""

from __future__ import annotations

import contextlib
import io
import os
import tracemalloc
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from simsearch import files
from simsearch.errors import PhotoError, SetError, SimsearchError
from simsearch.files import sha256_of
from simsearch.index import (
    PhotoIndex,
    PhotoToIndex,
    build_index,
    keep_rows,
    open_index,
    reading,
    save_index,
    stored_file_problems,
    update_index,
)
from simsearch.index.content import taken
from simsearch.index.reading import read_by_turns
from tests.tiny_set import GridEncoder, picture


class Stopped(BaseException):
    """Stands in for the power going off; no handler may swallow it."""


class Counting(GridEncoder):
    """Counts the photos it encodes, and stops the program after so many."""

    def __init__(self, stop_after: int | None = None, fingerprint: str = "f" * 64) -> None:
        super().__init__(fingerprint=fingerprint)
        self.seen = 0
        self._stop_after = stop_after

    def embed(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        if images[0].size != (32, 32):  # the blank that is asked for its shapes
            self.seen += len(images)
        if self._stop_after is not None and self.seen > self._stop_after:
            raise Stopped
        return super().embed(images)


def photos_in(folder: Path, count: int, first: int = 0) -> list[PhotoToIndex]:
    folder.mkdir(exist_ok=True)
    found = []
    for number in range(first, first + count):
        path = folder / f"{number}.png"
        picture((40 + number % 90, 120, 200 - number % 70), seed=number).save(path)
        found.append(PhotoToIndex(f"p{number}", sha256_of(path), path))
    return found


def same(one: PhotoIndex, other: PhotoIndex) -> bool:
    names = ("vectors", "patches", "patch_scales", "squares")
    pairs = [(getattr(one, name), getattr(other, name)) for name in names]
    return (one.photo_ids, one.sha256) == (other.photo_ids, other.sha256) and all(
        (a is None and b is None) or np.array_equal(a, b) for a, b in pairs
    )


def unfinished(folder: Path) -> list[Path]:
    return sorted(folder.glob(".unfinished-*.rows"))


def test_on_disk_is_what_would_be_built_in_memory(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 37)
    calls: list[tuple[int, int]] = []
    made = update_index(
        photos, Counting(), tmp_path / "index", progress=lambda *call: calls.append(call)
    )
    assert calls == [(0, 37), (16, 37), (32, 37), (37, 37)]
    assert same(made, build_index(photos, GridEncoder()))
    assert same(open_index(tmp_path / "index"), made)
    assert stored_file_problems(tmp_path / "index") == []
    assert unfinished(tmp_path / "index") == []


def test_array_files_are_those_that_numpy_writes() -> None:
    array = np.random.default_rng(0).normal(size=(150, 3)).astype(np.float32)
    expected = io.BytesIO()
    np.save(expected, array, allow_pickle=False)
    assert b"".join(taken(array, range(150)).content()) == expected.getvalue()


def test_only_new_photos_are_encoded(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    update_index(photos, Counting(), tmp_path / "index")
    more = photos_in(tmp_path / "photos", 1, first=20)
    encoder = Counting()
    calls: list[tuple[int, int]] = []
    wanted = [*more, *photos[::-1][:-1]]  # another order, and one taken out
    made = update_index(
        wanted, encoder, tmp_path / "index", progress=lambda *call: calls.append(call)
    )
    assert encoder.seen == 1
    assert calls == [(0, 20), (19, 20), (20, 20)]
    assert same(made, build_index(wanted, GridEncoder()))
    again = Counting()
    update_index(wanted, again, tmp_path / "index")
    assert again.seen == 0


def test_another_encoder_encodes_everything(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 5)
    update_index(photos, Counting(), tmp_path / "index")
    other = Counting(fingerprint="e" * 64)
    made = update_index(photos, other, tmp_path / "index")
    assert other.seen == 5
    assert made.encoder_fingerprint == "e" * 64


def test_rows_without_patches_are_not_taken_where_patches_are_wanted(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 5)
    assert update_index(photos, Counting(), tmp_path, with_patches=False).patches is None
    encoder = Counting()
    assert update_index(photos, encoder, tmp_path).patches is not None
    assert encoder.seen == 5
    encoder = Counting()
    made = update_index(photos, encoder, tmp_path, with_patches=False)
    assert encoder.seen == 0 and made.patches is None and made.squares is None


@pytest.mark.parametrize("kind", ["vectors", "patches"])
def test_a_damaged_index_is_not_taken_over(tmp_path: Path, kind: str) -> None:
    photos = photos_in(tmp_path / "photos", 5)
    update_index(photos, Counting(), tmp_path / "index")
    path = next((tmp_path / "index").glob(f"{kind}-*.npy"))
    content = bytearray(path.read_bytes())
    content[-1] ^= 1
    path.write_bytes(content)
    encoder = Counting()
    made = update_index(photos, encoder, tmp_path / "index")
    assert encoder.seen == 5
    assert same(made, build_index(photos, GridEncoder()))
    assert stored_file_problems(tmp_path / "index") == []


def test_copies_of_one_file_are_encoded_once(tmp_path: Path) -> None:
    one = photos_in(tmp_path / "photos", 1)[0]
    encoder = Counting()
    calls: list[tuple[int, int]] = []
    twice = [one, PhotoToIndex("copy", one.sha256, one.path)]
    made = update_index(twice, encoder, tmp_path, progress=lambda *call: calls.append(call))
    assert encoder.seen == 1
    assert made.photo_ids == ("p0", "copy")
    np.testing.assert_array_equal(made.vectors[0], made.vectors[1])
    assert calls[-1] == (2, 2)


def test_a_stopped_build_goes_on_where_it_was(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 60)
    old = update_index(photos[:2], Counting(), tmp_path / "index")
    with pytest.raises(Stopped):
        update_index(photos, Counting(stop_after=40), tmp_path / "index")
    assert same(open_index(tmp_path / "index"), old)
    assert stored_file_problems(tmp_path / "index") == []
    encoder = Counting()
    made = update_index(photos, encoder, tmp_path / "index")
    assert encoder.seen == 58 - 32  # two whole batches of sixteen were kept
    assert same(made, build_index(photos, GridEncoder()))
    assert unfinished(tmp_path / "index") == []


@pytest.mark.parametrize("cut", [1, 4, 500, 512, 513, 600, -600, -1])
def test_rows_cut_short_are_encoded_again(tmp_path: Path, cut: int) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    with pytest.raises(Stopped):
        update_index(photos, Counting(stop_after=16), tmp_path / "index")
    (path,) = unfinished(tmp_path / "index")
    path.write_bytes(path.read_bytes()[:cut])
    encoder = Counting()
    made = update_index(photos, encoder, tmp_path / "index")
    assert same(made, build_index(photos, GridEncoder()))
    assert encoder.seen > 4


@pytest.mark.parametrize("place", [0, 100, 512, 520, 560, 1500, -1])
def test_rows_that_were_changed_are_encoded_again(tmp_path: Path, place: int) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    with pytest.raises(Stopped):
        update_index(photos, Counting(stop_after=16), tmp_path / "index")
    (path,) = unfinished(tmp_path / "index")
    content = bytearray(path.read_bytes())
    content[place] ^= 0xFF
    path.write_bytes(content)
    made = update_index(photos, Counting(), tmp_path / "index")
    assert same(made, build_index(photos, GridEncoder()))


def test_nothing_is_written_through_a_link(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    with pytest.raises(Stopped):
        update_index(photos, Counting(stop_after=16), tmp_path / "index")
    (path,) = unfinished(tmp_path / "index")
    outside = tmp_path / "outside.txt"
    outside.write_text("keep me")
    path.unlink()
    path.symlink_to(outside)
    update_index(photos, Counting(), tmp_path / "index")
    assert outside.read_text() == "keep me"


def count_steps(work: Callable[[], object], monkeypatch: pytest.MonkeyPatch, stop_at: int) -> int:
    """Run ``work``, stopping before disk step ``stop_at``; return steps made."""
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
        for name in ("open", "write", "ftruncate", "fsync", "replace", "unlink"):
            patch.setattr(files.os, name, counted(getattr(os, name)))
        with contextlib.suppress(Stopped):
            work()
    return done


def test_stopped_at_any_step_the_old_index_or_the_new_one_is_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    old, new = build_index(photos[:3], GridEncoder()), build_index(photos, GridEncoder())

    def started(name: str) -> Path:
        """An index of three photos, and sixteen rows more from an attempt that was stopped."""
        folder = tmp_path / name
        save_index(old, folder)
        with pytest.raises(Stopped):
            update_index(photos, Counting(stop_after=16), folder)
        return folder

    folder = started("whole")
    steps = count_steps(lambda: update_index(photos, Counting(), folder), monkeypatch, -1)
    assert steps > 25
    outcomes = []
    for stop_at in range(steps):
        folder = started(f"stopped-{stop_at}")
        count_steps(lambda at=folder: update_index(photos, Counting(), at), monkeypatch, stop_at)
        opened = open_index(folder)
        assert same(opened, old) != same(opened, new)
        assert stored_file_problems(folder) == []
        outcomes.append(same(opened, new))
        assert same(update_index(photos, Counting(), folder), new)
        assert len(list(folder.iterdir())) == 5  # nothing half-written stays behind
    assert outcomes == sorted(outcomes)
    assert not outcomes[0] and outcomes[-1]


def test_rows_may_be_kept_beside_the_index_in_use(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    old = update_index(photos, Counting(), tmp_path / "index")
    other = Counting(fingerprint="e" * 64)
    kept = keep_rows(photos, other, tmp_path / "index", tmp_path / "apart")
    assert same(open_index(tmp_path / "index"), old)
    assert (other.seen, kept.encoder_fingerprint) == (20, "e" * 64)
    switching = Counting(fingerprint="e" * 64)
    assert same(update_index(photos, switching, tmp_path / "index"), kept)
    assert switching.seen == 0


def test_a_photo_that_fails_leaves_the_index_and_what_was_encoded(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 20)
    old = update_index(photos[:1], Counting(), tmp_path / "index")
    photos[18].path.write_bytes(b"no photo")
    with pytest.raises(SetError, match=r"'p18'.*not the one that was labelled"):
        update_index(photos, Counting(), tmp_path / "index")
    photos[18].path.unlink()
    with pytest.raises(SetError, match=r"'p18'.*cannot be read"):
        update_index(photos, Counting(), tmp_path / "index")
    assert same(open_index(tmp_path / "index"), old)
    encoder = Counting()
    update_index(photos[:18], encoder, tmp_path / "index")
    assert encoder.seen == 17 - 16


def test_a_file_that_is_no_photo_is_named(tmp_path: Path) -> None:
    path = tmp_path / "notes.png"
    path.write_bytes(b"no photo")
    with pytest.raises(PhotoError, match=r"notes\.png"):
        update_index([PhotoToIndex("p", sha256_of(path), path)], Counting(), tmp_path / "index")


def test_a_full_disk_is_told_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    photos = photos_in(tmp_path / "photos", 4)
    old = update_index(photos[:2], Counting(), tmp_path / "index")

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(files.os, "fsync", full)
        with pytest.raises(SetError, match="No space left") as caught:
            update_index(photos, Counting(), tmp_path / "index")
    assert "Make room" in caught.value.hint
    assert same(open_index(tmp_path / "index"), old)


class Changing(GridEncoder):
    """Says in advance what it does not keep to."""

    def __init__(self, **answers: Any) -> None:
        super().__init__()
        self._answers = answers

    def embed(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        vectors = super().embed(images)
        blank = images[0].size == (32, 32)
        return vectors if blank else self._answers.get("embed", lambda v: v)(vectors)

    def patches(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        grid = super().patches(images)
        blank = images[0].size == (32, 32)
        return grid if blank else self._answers.get("patches", lambda g: g)(grid)


@pytest.mark.parametrize(
    "answers",
    [
        {"embed": lambda v: v * 2},
        {"embed": lambda v: v[:, :5]},
        {"patches": lambda g: g[:, :2]},
        {"patches": lambda g: g * np.inf},
    ],
)
def test_an_encoder_that_changes_its_mind_changes_nothing(
    tmp_path: Path, answers: dict[str, Any]
) -> None:
    photos = photos_in(tmp_path / "photos", 3)
    old = update_index(photos[:1], GridEncoder(), tmp_path / "index")
    with np.errstate(invalid="ignore"), pytest.raises(SimsearchError, match="'grid' returned"):
        update_index(photos, Changing(**answers), tmp_path / "index")
    assert same(open_index(tmp_path / "index"), old)


class Wide(GridEncoder):
    """Patches as large as those of the built-in encoder: 37 KB a photo once packed."""

    def patches(self, images: Sequence[Image.Image]) -> NDArray[np.float32]:
        means = np.array([np.asarray(image).mean() / 255 for image in images], np.float32)
        return np.broadcast_to(means[:, None, None, None], (len(images), 24, 24, 64)).copy()


def test_memory_does_not_grow_with_the_set(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    photos = photos_in(tmp_path / "photos", 400)
    # Reading one file asks for the largest buffer that a file may need; that would hide the rest.
    monkeypatch.setattr(reading, "open_checked", lambda photo: picture((9, 9, 9), seed=1))
    peaks = []
    for count in (200, 400):
        tracemalloc.start()
        update_index(photos[:count], Wide(), tmp_path / f"index-{count}")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # The patches of the 200 photos more are 7 MB.
    assert peaks[1] - peaks[0] < 1.5e6
    assert peaks[1] < 15e6


def test_no_more_photos_are_read_than_are_wanted_at_once(tmp_path: Path) -> None:
    photos = photos_in(tmp_path / "photos", 12)
    reading = read_by_turns(photos, at_once=4)
    assert [next(reading) for _ in range(4)]
    for photo in photos[4:]:  # of the next four none is begun yet
        photo.path.unlink()
    with pytest.raises(SetError, match="'p4'"):
        list(reading)
