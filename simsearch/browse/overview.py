"""Every photo of a set as a point in a picture where near means similar.

The vectors of the index are laid out in the plane by t-SNE (van der Maaten & Hinton 2008, Journal
of Machine Learning Research 9), as scikit-learn keeps it. It keeps neighbours together; it does
not keep distances, and ``NOTE`` tells people so. The layout starts from principal components and
from a fixed seed, so the same index gives the same picture, and it is kept in the user's cache
under a name made from all that it depends on.
"""

from __future__ import annotations

import hashlib
import io
import logging
import threading
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from platformdirs import user_cache_path

from simsearch.files import write_bytes

if TYPE_CHECKING:
    from simsearch.index import PhotoIndex

Points = NDArray[np.float32]

NOTE = (
    "Near means similar to the encoder. Only closeness counts here: how far apart two groups lie, "
    "how large they are and which way up the picture is mean little."
)
_METHOD = "t-sne 1"  # change it when the layout changes: kept pictures are then made again
_SEED = 20
_COMPONENTS = 50
_PERPLEXITY = 30.0
_FEW = 8
"""Below this many photos there is no neighbourhood to keep; principal components will do."""
_NO_SPREAD = 1e-6
_WORTH_THREADS = 1500
_LOG = logging.getLogger(__name__)
_ONE_AT_A_TIME = threading.Lock()


def overview(index: PhotoIndex, *, cache: Path | None = None) -> Points:
    """Return a place for every photo of the index: float32 (n, 2), each in [0, 1].

    Computed once (some 5,000 photos take half a minute on two cores) and kept in ``cache``,
    by default the user's. A cache that cannot be written only means computing again.
    """
    file = (cache or default_cache()) / f"overview-{layout_key(index)}.npy"
    # Two people opening the page at once should not both wait for their own computation.
    with _ONE_AT_A_TIME:
        kept = _read(file, len(index))
        if kept is not None:
            return kept
        points = lay_out(index.vectors)
        _keep(file, points)
        return points


def is_kept(index: PhotoIndex, *, cache: Path | None = None) -> bool:
    """Whether the layout of this index has been computed before."""
    return ((cache or default_cache()) / f"overview-{layout_key(index)}.npy").is_file()


def default_cache() -> Path:
    """The folder that layouts are kept in; it holds places in a picture and no photo."""
    return user_cache_path("simsearch", appauthor=False)


def layout_key(index: PhotoIndex) -> str:
    """What a layout depends on, as 32 hex digits: the method, the encoder and the photos."""
    parts = [_METHOD, index.encoder_fingerprint, *index.photo_ids, *index.sha256]
    return hashlib.sha256("\n".join(parts).encode("utf-8")).hexdigest()[:32]


def lay_out(vectors: NDArray[np.float32]) -> Points:
    """Lay vectors (n, dim) out in the plane: float32 (n, 2), each in [0, 1], same every time."""
    count = len(vectors)
    if count == 0:
        return np.zeros((0, 2), np.float32)
    narrow = _components(vectors)
    spread = float(narrow[:, 0].std())
    if count < _FEW or spread < _NO_SPREAD:
        return _into_square(narrow[:, :2])
    # Imported here: it takes a second to load and most sessions find their layout kept.
    from sklearn.manifold import TSNE
    from threadpoolctl import threadpool_limits  # type: ignore[import-untyped]

    layout = TSNE(
        n_components=2,
        perplexity=min(_PERPLEXITY, (count - 1) / 3),
        init=_start(narrow, spread),
        max_iter=500 if count > 2500 else 1000,
        random_state=_SEED,
    )
    # With few points the threads would spend their time waiting for one another.
    with threadpool_limits(1 if count < _WORTH_THREADS else None):
        return _into_square(layout.fit_transform(narrow))


def _start(narrow: Points, spread: float) -> Points:
    """Where t-SNE begins: the first two components, small, and no two photos in one place.

    Re-saved copies have equal vectors; started from the very same place they, or a start that is
    no number, make the library's tree of points run out of memory and end the process.
    """
    trembling = np.random.default_rng(_SEED).normal(size=(len(narrow), 2))
    return (narrow[:, :2] / spread * 1e-4 + trembling * 1e-7).astype(np.float32)


def _components(vectors: NDArray[np.float32]) -> Points:
    """The first principal components, (n, at least 2), with signs that do not depend on luck."""
    rows = np.asarray(vectors, np.float64)
    rows = rows - rows.mean(axis=0)
    # The covariance is (dim, dim) however many photos there are.
    _, directions = np.linalg.eigh(rows.T @ rows)
    directions = directions[:, ::-1][:, : min(_COMPONENTS, rows.shape[1])]
    largest = np.abs(directions).argmax(axis=0)
    directions = directions * np.sign(directions[largest, np.arange(directions.shape[1])])
    narrow = (rows @ directions).astype(np.float32)
    missing = 2 - narrow.shape[1]
    return np.pad(narrow, ((0, 0), (0, missing))) if missing > 0 else narrow


def _into_square(points: NDArray[np.floating]) -> Points:
    """Move and scale, the same in both directions, so that all lie in [0, 1] about the middle."""
    low, high = points.min(axis=0), points.max(axis=0)
    size = float((high - low).max())
    if size == 0:
        return np.full(points.shape, 0.5, np.float32)
    placed: Points = ((points - (low + high) / 2) / size + 0.5).astype(np.float32)
    return np.clip(placed, 0.0, 1.0)


def _read(file: Path, count: int) -> Points | None:
    """A kept layout, or ``None`` when there is none or it does not hold what it should."""
    with suppress(OSError, ValueError, EOFError):
        points = np.load(file, allow_pickle=False)
        if points.shape == (count, 2) and points.dtype == np.float32 and np.isfinite(points).all():
            return np.clip(points, 0.0, 1.0)
    return None


def _keep(file: Path, points: Points) -> None:
    content = io.BytesIO()
    np.save(content, points, allow_pickle=False)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_bytes(file, content.getvalue())
    except OSError as error:
        _LOG.warning("the overview could not be kept in %s (%s)", file.parent, error)
