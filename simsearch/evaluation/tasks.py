"""What the benchmark asks: photos to look up, photos to look in, and which are relevant."""

from __future__ import annotations

import re
import zlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from PIL import Image

import simsearch
from simsearch.errors import SetError
from simsearch.evaluation.folders import LabelledPhotos, load_labelled
from simsearch.evaluation.metrics import leave_out
from simsearch.leads.grouping import PhotoGroups
from simsearch.photo import list_photos, open_photo

NAMES = ("types", "unseen", "instances", "ancient", "photos", "fragments")
SIDE = 640  # pixels: as the product reads photos (index.PHOTO_SIDE, whose import loads FAISS)
_INSTANCES = "instances"
_FINE = 3  # with the usual 8 query turns: steps of 15 degrees


@dataclass(frozen=True)
class Options:
    """What to measure on. ``unseen`` are the types that training held out.

    ``limit`` keeps so many queries of each class (0 = all), to try things out; ``seeds`` is how
    often the queries of the ancient coins are made.
    """

    renders: str | None = None
    photos: tuple[str, ...] = ()
    reference: str | None = None
    tasks: tuple[str, ...] = NAMES
    unseen: tuple[str, ...] = ()
    turns: int = 8
    seeds: int = 3
    limit: int = 0


@dataclass(frozen=True, eq=False)
class Part:
    """One line of a table: some of a task's queries, and what is relevant to them.

    ``labels`` and ``classes`` (equal to them if None; for the mean over classes) are of all
    queries of the task; ``picked`` says which of them count, ``left_out`` (queries, gallery)
    what they may not find.
    """

    name: str
    labels: Sequence[Any]
    gallery_labels: Sequence[Any]
    classes: Sequence[Any] | None = None
    picked: Sequence[int] | None = None
    left_out: npt.NDArray[np.bool_] | None = None


@dataclass(frozen=True, eq=False)
class Task:
    """Queries and a gallery that every method scores once; the parts read the scores.

    With ``groups`` the scores of photos become scores of types before the parts read them, and
    the gallery labels of the parts are type ids. A query may be turned against the gallery if
    ``turned`` is not 0; it says how many times finer than usual the query turns are to be: the
    same pixels turned are found only by steps that are fine.
    """

    name: str
    queries: list[Image.Image]
    gallery: list[Image.Image]
    parts: tuple[Part, ...]
    turned: int = 1
    groups: PhotoGroups | None = None


def tasks(options: Options) -> Iterator[Task]:
    """Yield the tasks that the options name and that there are photos for, one at a time."""
    wanted = set(options.tasks)
    if options.renders and wanted & {"types", "unseen"}:
        yield from _types(Path(options.renders), options)
    if options.renders and "instances" in wanted:
        yield from _instances(Path(options.renders) / _INSTANCES, options)
    if "ancient" in wanted:
        yield from _ancient_coins(options.seeds)
    for folder in options.photos if wanted & {"photos", "fragments"} else ():
        data = _limited(load_labelled(folder), options.limit)
        if "photos" in wanted:
            yield _photos(Path(folder).name, data)
        if "fragments" in wanted:
            yield _fragments(Path(folder).name, data)


@dataclass(frozen=True)
class _Shipped:
    """The photos of a reference set and how they are grouped."""

    photos: list[Image.Image]
    groups: PhotoGroups
    known: set[str]


def _types(folder: Path, options: Options) -> Iterator[Task]:
    """Every sub-folder of renders against the reference set: all types, and the unseen ones."""
    places = folder.iterdir() if folder.is_dir() else ()
    slices = sorted(p for p in places if p.is_dir() and p.name != _INSTANCES)
    if not slices:
        raise SetError(
            f"{folder} is no folder with slices of renders.",
            hint="Render them with scripts/render_held_out.py, as FOLDER/SLICE/TYPE/N.jpg.",
        )
    shipped = _shipped(options.reference)
    for name, found in _by_slice(slices).items():
        paths = _first_of_each(found, options.limit, lambda path: path.parent.name)
        if "types" not in options.tasks:
            paths = [path for path in paths if path.parent.name in options.unseen]
        labels = [path.parent.name for path in paths]
        strangers = sorted(set(labels) - shipped.known)
        if strangers:
            raise SetError(
                f"{folder}, {name}: no photos in the set of {', '.join(strangers)}.",
                hint="Give folders as FOLDER/SLICE/TYPE/N.jpg, TYPE as in types.csv of the set.",
            )
        new = [i for i, label in enumerate(labels) if label in options.unseen]
        ids = shipped.groups.type_ids
        parts = [Part(f"types, {name}", labels, ids)] if "types" in options.tasks else []
        if "unseen" in options.tasks and new:
            parts.append(Part(f"unseen types, {name}", labels, ids, picked=new))
        if parts:
            queries = [open_photo(path, max_side=SIDE) for path in paths]
            yield Task(
                f"types, {name}", queries, shipped.photos, tuple(parts),
                groups=shipped.groups,
            )  # fmt: skip


def _by_slice(folders: Sequence[Path]) -> dict[str, list[Path]]:
    """The photos of each slice; a folder of N-VIEW.jpg holds a slice for each view."""
    slices: dict[str, list[Path]] = {}
    for folder in folders:
        for path in list_photos(folder):
            view = path.stem.partition("-")[2]
            name = f"{folder.name}, {view}" if view else folder.name
            slices.setdefault(name, []).append(path)
    return slices


def _shipped(folder: str | None) -> _Shipped:
    reference = simsearch.open_set(folder)
    rows = reference.photos
    photos = [open_photo(reference.path_of(row), max_side=SIDE) for row in rows]
    groups = PhotoGroups.of([(row.type, row.specimen) for row in rows])
    return _Shipped(photos, groups, set(groups.type_ids))


def _instances(folder: Path, options: Options) -> Iterator[Task]:
    """The same specimen in another photo: TYPE/N-a.jpg is looked up among all the N-b.jpg."""
    if not folder.is_dir():
        return
    found: dict[str, list[tuple[str, str, Path]]] = {"a": [], "b": []}
    for path in list_photos(folder):
        name = re.fullmatch(r"(.+)-([ab])", path.stem)
        if name:
            found[name[2]].append((path.parent.name, f"{path.parent.name} {name[1]}", path))
    looked_up = _first_of_each(found["a"], options.limit, lambda one: one[0])
    looked_in = found["b"]
    if not looked_up or not looked_in:
        raise SetError(f"{folder} holds no pairs TYPE/N-a.jpg and TYPE/N-b.jpg.")
    types, names = [one[0] for one in looked_up], [one[1] for one in looked_up]
    in_types, in_names = np.array([one[0] for one in looked_in]), [one[1] for one in looked_in]
    elsewhere = np.array(types)[:, None] != in_types[None, :]
    yield Task(
        "instances",
        [open_photo(path, max_side=SIDE) for *_, path in looked_up],
        [open_photo(path, max_side=SIDE) for *_, path in looked_in],
        (
            Part("same specimen, among all", names, in_names, types),
            Part("same specimen, among its type", names, in_names, types, left_out=elsewhere),
        ),
    )


def _ancient_coins(seeds: int) -> Iterator[Task]:
    """The coins in scikit-image's picture: each is its own class, so ``n`` is 24 x seeds."""
    from simsearch.evaluation.ancient_coins import find_coins, half_queries, whole_queries

    kinds: list[tuple[str, Callable[[int], list[Image.Image]], int]] = [
        ("ancient coins, whole, turned and lit", whole_queries, _FINE),
        ("ancient coins, half, as it lay", half_queries, 0),
        ("ancient coins, half, turned and lit", lambda s: half_queries(s, again=True), _FINE),
    ]
    gallery = find_coins()
    own = list(range(len(gallery)))
    for name, make, turned in kinds:
        queries = [photo for seed in range(seeds) for photo in make(seed)]
        yield Task(name, queries, gallery, (Part(name, own * seeds, own),), turned)


def _photos(name: str, data: LabelledPhotos) -> Task:
    """Each photo among all others, and among those of other scenes."""
    alone, apart = leave_out(range(len(data.labels))), leave_out(data.scenes)
    parts = [Part(f"{name}, leave one out", data.labels, data.labels, left_out=alone)]
    if len(set(data.scenes)) < len(data.scenes):
        part = Part(f"{name}, across scenes", data.labels, data.labels, left_out=apart)
        parts.append(part)
    return Task(name, data.photos, data.photos, tuple(parts))


def _fragments(name: str, data: LabelledPhotos) -> Task:
    """Half of each coin among the whole others, and among all for the coin it was cut from."""
    from simsearch.evaluation.halves import half_of

    own = list(range(len(data.labels)))
    seeds = [np.random.default_rng([zlib.crc32(name.encode()), number]) for number in own]
    halves = [half_of(photo, rng) for photo, rng in zip(data.photos, seeds, strict=True)]
    title = f"{name}, halves"
    parts = (
        Part(f"{title}: class, own photo left out", data.labels, data.labels,
             left_out=leave_out(own)),
        Part(f"{title}: own photo", own, own, data.labels),
    )  # fmt: skip
    return Task(title, halves, data.photos, parts, _FINE)


def _first_of_each(found: Sequence[Any], limit: int, class_of: Callable[[Any], str]) -> list[Any]:
    """Keep the first ``limit`` of each class, in order; all when it is 0."""
    counts: dict[str, int] = {}
    kept = []
    for one in found:
        counts[class_of(one)] = counts.get(class_of(one), 0) + 1
        if not limit or counts[class_of(one)] <= limit:
            kept.append(one)
    return kept


def _limited(data: LabelledPhotos, limit: int) -> LabelledPhotos:
    rows = list(zip(data.photos, data.labels, data.scenes, strict=True))
    kept = _first_of_each(rows, limit, lambda row: row[1])
    photos, labels, scenes = ([row[i] for row in kept] for i in range(3))
    return LabelledPhotos(photos, labels, scenes, data.licence)
