"""Measuring one encoder on a set, in a process of its own.

A process of its own, because what one encoder leaves in memory and in the caches of libraries
would count for the next. ``measure_apart`` starts it; what it runs is ``measure``.
"""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simsearch.errors import EncoderError, SetError, SimsearchError
from simsearch.index import PhotoIndex, PhotoToIndex, keep_rows
from simsearch.index.reading import open_checked
from simsearch.leads.calibration import MIN_FINDS
from simsearch.leads.features import features_of
from simsearch.leads.grouping import PhotoGroups
from simsearch.leads.odds import fit_odds
from simsearch.leads.own_set import MOST_PHOTOS
from simsearch.leads.shortlist import SHOWN, fit_limits, in_list
from simsearch.sets.reference_set import ReferenceSet, open_set

if TYPE_CHECKING:
    from simsearch.encode import Encoder

Progress = Callable[[int, int], None]
Doubles = NDArray[np.float64]
Positions = NDArray[np.intp]

_TIMED = 32  # photos that are timed
_TIMED_AT_ONCE = 8
_QUERIES = 256  # photos compared with all others at once
_FOLDS = 5


@dataclass(frozen=True)
class Judged:
    """What the leads would be, each object judged by odds fitted without it.

    Of each photo: the specimen it shows, the place of its right type, minus the logarithm of the
    odds that were given to it, whether the list that promises 9 of 10 held it, and how many
    types that list had.
    """

    specimens: tuple[str, ...]
    places: tuple[int, ...]
    surprise: tuple[float, ...]
    listed: tuple[bool, ...]
    lengths: tuple[int, ...]


@dataclass(frozen=True)
class Measured:
    """One encoder on one set.

    ``places`` is where the right type came, 1 for first, for each photo looked up by its vector
    alone; ``specimens`` names the object of each. ``judged`` is missing where the set is too
    small for odds. Milliseconds are for one photo, vector and patches; megabytes are millions of
    bytes: the most that a process with this encoder had in use, and the size of its weights'
    file (``None`` where that is not known).
    """

    encoder: str
    fingerprint: str
    dim: int
    patches: tuple[int, ...] | None
    photos: int
    specimens: tuple[str, ...]
    places: tuple[int, ...]
    judged: Judged | None
    milliseconds: float
    memory_mb: float | None
    weights_mb: float | None


def measure(
    reference: ReferenceSet, encoder: Encoder, *, progress: Progress | None = None
) -> Measured:
    """Encode a set's photos and look each object up among the others.

    The set's index stays as it is; what is encoded is kept beside it, so that switching to this
    encoder costs no second encoding. Raises ``SetError`` when no object can be looked up or
    another program is writing to the set, and what encoding raises.
    """
    from simsearch.sets.write import locked

    photos = [PhotoToIndex(row.id, row.sha256, reference.path_of(row)) for row in reference.photos]
    usable = photos_to_look_up(reference)
    later = len(_sample(reference, usable))
    milliseconds = _milliseconds(photos, encoder)

    def encoded(done: int, total: int) -> None:
        if progress:
            progress(done, total + later)

    with tempfile.TemporaryDirectory() as scratch:
        with locked(reference.folder):
            index = keep_rows(
                photos, encoder, reference.index_folder, Path(scratch), progress=encoded
            )
        memory = peak_memory_mb()  # before the comparisons, which need memory of their own
        groups = PhotoGroups.of([(row.type, row.specimen) for row in reference.photos])
        places = _places_by_vector(index, groups, usable)
        judged = _judged(reference, index, groups, usable, progress)
        shape = None if index.patches is None else tuple(int(n) for n in index.patches.shape[1:])
        del index  # Windows removes no file that is still mapped
    return Measured(
        encoder=encoder.name,
        fingerprint=encoder.fingerprint,
        dim=encoder.dim,
        patches=shape,
        photos=len(photos),
        specimens=tuple(_specimen(reference, at) for at in usable),
        places=tuple(int(place) for place in places),
        judged=judged,
        milliseconds=milliseconds,
        memory_mb=memory,
        weights_mb=weights_mb(encoder.name),
    )


def photos_to_look_up(reference: ReferenceSet) -> list[int]:
    """Return the positions of photos whose type has another object as well.

    Raises ``SetError`` when there are none, or only one type.
    """
    specimens: dict[str, set[str]] = {}
    for row in reference.photos:
        specimens.setdefault(row.type, set()).add(row.specimen)
    found = [at for at, row in enumerate(reference.photos) if len(specimens[row.type]) > 1]
    if not found or len(specimens) < 2:
        raise SetError(
            "There is nothing to compare encoders on: no object can be looked up among others.",
            hint="It takes two types with photos, and a type with photos of two objects.",
        )
    return found


def _specimen(reference: ReferenceSet, position: int) -> str:
    row = reference.photos[position]
    return f"{row.type}/{row.specimen}"


def _sample(reference: ReferenceSet, usable: Sequence[int]) -> list[int]:
    """The photos judged by all that leads rest on; none where there are too few objects."""
    if len({_specimen(reference, at) for at in usable}) < MIN_FINDS:
        return []
    even = np.linspace(0, len(usable) - 1, min(MOST_PHOTOS, len(usable))).round().astype(int)
    return [usable[place] for place in even]


def _milliseconds(photos: Sequence[PhotoToIndex], encoder: Encoder) -> float:
    """Median time for one photo, vector and patches, after a first batch that does not count."""
    even = np.linspace(0, len(photos) - 1, min(_TIMED, len(photos))).round().astype(int)
    images = [open_checked(photos[at]) for at in even]
    seconds: list[float] = []
    for start in [0, *range(0, len(images), _TIMED_AT_ONCE)]:
        # Copies: an encoder may remember the very pictures that it saw last.
        batch = [image.copy() for image in images[start : start + _TIMED_AT_ONCE]]
        began = time.perf_counter()
        _encode(encoder, batch)
        seconds.append((time.perf_counter() - began) / len(batch))
    return 1000 * median(seconds[1:])


def _encode(encoder: Encoder, batch: list[Any]) -> None:
    encoder.embed(batch)
    try:
        encoder.patches(batch)
    except EncoderError:  # it has none
        return


def _places_by_vector(index: PhotoIndex, groups: PhotoGroups, usable: Sequence[int]) -> Positions:
    """Place of the right type of each photo, its own object's photos left out."""
    places: list[Positions] = []
    for start in range(0, len(usable), _QUERIES):
        asked = np.asarray(usable[start : start + _QUERIES])
        similar = index.similarities(np.ascontiguousarray(index.vectors[asked]))
        specimens = groups.specimen_of_photo
        similar[specimens[asked][:, None] == specimens[None, :]] = -np.inf
        truth = groups.type_of_specimen[specimens[asked]]
        places.append(places_of(groups.type_scores(similar), truth))
    return np.concatenate(places)


def places_of(scores: NDArray[Any], truth: NDArray[Any]) -> Positions:
    """Return the place of the true type, 1 for first, in scores (n, types): (n,).

    Of equal scores the true one comes last, so that an encoder that tells nothing apart gets
    nothing right.
    """
    own = scores[np.arange(len(truth)), truth]
    return np.asarray((scores >= own[:, None]).sum(axis=1), np.intp)


def _judged(
    reference: ReferenceSet,
    index: PhotoIndex,
    groups: PhotoGroups,
    usable: Sequence[int],
    progress: Progress | None,
) -> Judged | None:
    sample = _sample(reference, usable)
    if not sample:
        return None
    table = []
    for number, at in enumerate(sample, start=1):
        patches = None if index.patches is None else index.patches_at(at)[None]
        own = groups.specimen_of_photo == groups.specimen_of_photo[at]
        vector = np.ascontiguousarray(index.vectors[at : at + 1])
        table.append(features_of(index, groups, vector, patches, left_out=own).values[0])
        if progress:
            progress(len(index) + number, len(index) + len(sample))
    specimens = [_specimen(reference, at) for at in sample]
    truth = groups.type_of_specimen[groups.specimen_of_photo[sample]]
    odds, listed = cross_fitted(np.stack(table), truth, specimens)
    rows = np.arange(len(truth))
    return Judged(
        specimens=tuple(specimens),
        places=tuple(int(place) for place in places_of(odds, truth)),
        surprise=tuple(float(s) for s in -np.log(np.maximum(odds[rows, truth], 1e-12))),
        listed=tuple(bool(held) for held in listed[rows, truth]),
        lengths=tuple(int(length) for length in listed.sum(axis=1)),
    )


def cross_fitted(
    table: Doubles, truth: NDArray[Any], specimens: Sequence[str]
) -> tuple[Doubles, NDArray[np.bool_]]:
    """Return odds and lists, both (n, types), of features (n, types, F).

    Each object's odds come from a model, and its list from a limit, that its photos had no part
    in.
    """
    _, objects = np.unique(specimens, return_inverse=True)
    folds = objects % _FOLDS
    odds = np.empty(table.shape[:2])
    for part in range(_FOLDS):
        held = folds == part
        odds[held] = fit_odds(table[~held], truth[~held]).odds(table[held])
    listed = np.zeros(odds.shape, bool)
    for part in range(_FOLDS):
        held = folds == part
        limits = fit_limits(odds[~held], truth[~held], objects[~held])
        listed[held] = in_list(odds[held], limits.get(SHOWN, math.inf))
    return odds, listed


def peak_memory_mb() -> float | None:
    """Return the most memory that this process has had in use; ``None`` where nobody tells."""
    try:
        # Of this program alone: what getrusage says on Linux may be from before it was started.
        for line in Path("/proc/self/status").read_text("ascii").splitlines():
            if line.startswith("VmHWM:"):
                return int(line.split()[1]) * 1024 / 1e6
    except (OSError, ValueError):
        pass
    if sys.platform != "darwin":
        return None
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6


def weights_mb(name: str) -> float | None:
    """Return the size of the file of weights of an encoder that is loaded already."""
    path: Path | None = None
    if name == "built-in":
        from simsearch.encode.builtin import WEIGHTS

        path = WEIGHTS
    elif name.startswith("open_clip:"):
        # Loaded already, so that the file is on this computer and nothing is fetched.
        from simsearch.encode import checkpoints

        architecture, _, rest = name.removeprefix("open_clip:").partition("/")
        path = checkpoints._find_weights(checkpoints._open_clip(), architecture, rest).path
    return path.stat().st_size / 1e6 if path is not None and path.is_file() else None


def measure_apart(
    reference: ReferenceSet, name: str, *, progress: Progress | None = None
) -> Measured:
    """Run ``measure`` in a fresh process. Raises what it raised, or ``EncoderError``."""
    with tempfile.TemporaryDirectory() as scratch:
        answer, complaints = Path(scratch) / "answer.json", Path(scratch) / "complaints.txt"
        given = [str(reference.folder.resolve()), name, str(answer)]
        with open(complaints, "wb") as stderr:
            process = subprocess.Popen(
                [sys.executable, "-m", "simsearch.care.encoder_measure", *given],
                stdout=subprocess.PIPE,
                stderr=stderr,
                env=_environment(),
                encoding="utf-8",
                errors="replace",
            )
            code = _followed(process, progress)
        if not answer.is_file():
            last = (complaints.read_text("utf-8", errors="replace").strip() or "no word")[-300:]
            raise EncoderError(
                f"Measuring the encoder '{name}' ended without an answer (code {code}): {last}",
                hint="Often memory ran out. Close other programs, or leave this encoder out.",
            )
        return _read_answer(json.loads(answer.read_text("utf-8")), name)


def _followed(process: subprocess.Popen[str], progress: Progress | None) -> int:
    try:
        for line in process.stdout or ():
            # Libraries may print too; only lines of ours are two numbers.
            words = line.split()
            if progress and len(words) == 2 and all(word.isdigit() for word in words):
                progress(int(words[0]), int(words[1]))
        return process.wait()
    finally:
        process.kill()
        process.wait()


def _environment() -> dict[str, str]:
    root = str(Path(__file__).resolve().parents[2])
    before = os.environ.get("PYTHONPATH")
    return os.environ | {"PYTHONPATH": os.pathsep.join([root, before] if before else [root])}


def _read_answer(answer: dict[str, Any], name: str) -> Measured:
    if "error" in answer:
        what = f"The encoder '{name}' could not be measured: {answer['error']}"
        raise EncoderError(what, hint=answer["hint"])
    judged = answer.pop("judged")
    lists: dict[str, Any] = {key: tuple(answer.pop(key)) for key in ("specimens", "places")}
    patches = answer.pop("patches")
    return Measured(
        **answer,
        **lists,
        patches=None if patches is None else tuple(patches),
        judged=None if judged is None else Judged(**{k: tuple(v) for k, v in judged.items()}),
    )


def _main(folder: str, name: str, answer: str) -> None:
    from simsearch.encode import load_encoder

    def tell(done: int, total: int) -> None:
        print(done, total, flush=True)

    try:
        found = asdict(measure(open_set(folder), load_encoder(name), progress=tell))
    except SimsearchError as error:
        found = {"error": error.message, "hint": error.hint}
    Path(answer).write_text(json.dumps(found), encoding="utf-8")


if __name__ == "__main__":
    _main(*sys.argv[1:4])
