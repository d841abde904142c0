"""Turning type scores into odds that hold, and judging whether anything is close at all.

Odds are a softmax over the scores of all types, sharpened by one temperature that was fitted on
finds of known type (Guo et al. 2017, "On Calibration of Modern Neural Networks"). They are odds
*given that the type is in the set*. Whether it is, is judged apart: a logistic curve over the
best score and its margin over the second, with a threshold.

A calibration belongs to one encoder and one selection of photos. For any other there are no
odds: made-up ones would be worse than none.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simsearch.errors import SetError
from simsearch.files import write_text

CALIBRATION_FILE = "calibration.json"
MIN_FINDS = 50
"""Fewest finds of known type for which odds are given at all."""
_FORMAT = "simsearch calibration 1"
_FOLDS = 5
_RIDGE = 1e-3  # keeps the logistic fit finite when the two classes are cleanly apart
_LOG_TEMPERATURES = (math.log(1e-4), math.log(1e2))

Doubles = NDArray[np.float64]


@dataclass(frozen=True)
class Calibration:
    """What was fitted, on how much, and how well it holds.

    ``closeness`` is (constant, weight of the best score, weight of the margin) of a logistic
    curve, or ``None`` when no finds of types outside the set were at hand. ``threshold`` is the
    closeness from which a find counts as close. ``n_fitted`` finds had their type in the set,
    ``n_far`` had not. ``ece`` is the expected calibration error of the odds of the first lead,
    each find judged by a temperature fitted without it. ``false_reject`` and ``false_accept``
    are the shares of the two kinds of finds on the wrong side of the threshold.
    """

    temperature: float
    closeness: tuple[float, float, float] | None
    threshold: float | None
    n_fitted: int
    n_far: int
    ece: float
    false_reject: float | None
    false_accept: float | None
    encoder_fingerprint: str
    set_fingerprint: str
    note: str = ""

    def odds(self, type_scores: ArrayLike) -> Doubles:
        """Return odds (..., types) that sum to one, from type scores of the same shape."""
        return softmax(np.asarray(type_scores, np.float64) / self.temperature)

    def closeness_of(self, type_scores: ArrayLike) -> float | None:
        """Return how likely it is (0..1) that the type is in the set, from scores (types,)."""
        if self.closeness is None:
            return None
        features = closeness_features(np.asarray(type_scores, np.float64)[None, :])
        return float(_logistic(_with_constant(features) @ np.array(self.closeness))[0])


def softmax(scores: Doubles) -> Doubles:
    """Return exp(scores) scaled to sum to one along the last axis, without overflow."""
    shifted = np.exp(scores - scores.max(axis=-1, keepdims=True))
    result: Doubles = shifted / shifted.sum(axis=-1, keepdims=True)
    return result


def closeness_features(type_scores: Doubles) -> Doubles:
    """Return (n, 2): the best score and its margin over the second, from scores (n, types).

    With a single type there is no second and the margin is 0.
    """
    ordered = np.sort(type_scores, axis=1)[:, ::-1]
    best = ordered[:, 0]
    second = ordered[:, 1] if ordered.shape[1] > 1 else best
    return np.stack([best, best - second], axis=1)


def fit_calibration(
    type_scores: ArrayLike,
    true_type: ArrayLike,
    *,
    encoder_fingerprint: str,
    set_fingerprint: str,
    groups: ArrayLike | None = None,
    false_reject: float = 0.05,
    note: str = "",
) -> Calibration:
    """Fit a calibration on finds that were held out from training and from the set's photos.

    ``type_scores`` is (n, types) as ``PhotoGroups.type_scores`` gives them; ``true_type`` (n,)
    is each find's position among the types, or -1 when its type is not in the set; ``groups``
    (n,) names the object of each row, so that photos of one object never stand on both sides
    of a fold (default: each row its own object). The threshold is put where ``false_reject``
    of the finds whose type is in the set fall below it.
    Raises ``ValueError`` for shapes that do not fit or fewer than ``MIN_FINDS`` known finds.
    """
    scores, truth = _checked(type_scores, true_type)
    objects = np.arange(len(truth)) if groups is None else np.asarray(groups)
    if objects.shape != truth.shape:
        raise ValueError(f"groups are {objects.shape}, not {truth.shape}")
    known = truth >= 0
    count = len(np.unique(objects[known]))
    if count < MIN_FINDS:
        raise ValueError(f"{count} finds of known type; odds need at least {MIN_FINDS}")
    if not 0 <= false_reject < 1:
        raise ValueError(f"false_reject is {false_reject}, not a share below 1")
    closeness, threshold, rejected, accepted = _fit_closeness(scores, known, false_reject)
    return Calibration(
        temperature=fit_temperature(scores[known], truth[known]),
        closeness=closeness,
        threshold=threshold,
        n_fitted=int(known.sum()),
        n_far=int((~known).sum()),
        ece=_cross_fitted_error(scores[known], truth[known], objects[known]),
        false_reject=rejected,
        false_accept=accepted,
        encoder_fingerprint=encoder_fingerprint,
        set_fingerprint=set_fingerprint,
        note=note,
    )


def _checked(type_scores: ArrayLike, true_type: ArrayLike) -> tuple[Doubles, NDArray[np.int64]]:
    scores = np.asarray(type_scores, np.float64)
    truth = np.asarray(true_type, np.int64)
    if scores.ndim != 2 or truth.shape != (len(scores),) or scores.shape[1] < 1:
        raise ValueError(f"scores are {scores.shape} and types {truth.shape}: need (n, t), (n,)")
    if not np.all(np.isfinite(scores)):
        raise ValueError("a score is not finite")
    if truth.size and (truth.min() < -1 or truth.max() >= scores.shape[1]):
        raise ValueError("a type's position lies outside the scores")
    return scores, truth


def fit_temperature(scores: Doubles, truth: NDArray[np.int64]) -> float:
    """Return the temperature that makes the known types likeliest.

    The mean negative log-likelihood is convex in 1/temperature, so it has one valley along
    log temperature too, and a golden-section search finds its floor.
    """
    rows = np.arange(len(truth))

    def surprise(log_temperature: float) -> float:
        scaled = scores / math.exp(log_temperature)
        top = scaled.max(axis=1)
        total = top + np.log(np.exp(scaled - top[:, None]).sum(axis=1))
        return float(np.mean(total - scaled[rows, truth]))

    return math.exp(_valley(surprise, *_LOG_TEMPERATURES))


def _valley(height: Callable[[float], float], low: float, high: float) -> float:
    """Find the lowest point of a function with one valley, by golden sections."""
    ratio = (math.sqrt(5) - 1) / 2
    left, right = high - ratio * (high - low), low + ratio * (high - low)
    at_left, at_right = height(left), height(right)
    while high - low > 1e-6:
        if at_left <= at_right:
            high, right, at_right = right, left, at_left
            left = high - ratio * (high - low)
            at_left = height(left)
        else:
            low, left, at_left = left, right, at_right
            right = low + ratio * (high - low)
            at_right = height(right)
    return (low + high) / 2


_Closeness = tuple[tuple[float, float, float] | None, float | None, float | None, float | None]


def _fit_closeness(scores: Doubles, known: NDArray[np.bool_], share: float) -> _Closeness:
    if known.all():
        return None, None, None, None
    features = closeness_features(scores)
    weights = fit_logistic(features, known.astype(np.float64))
    closeness = _logistic(_with_constant(features) @ weights)
    # "lower" takes a value that occurs, so that at most this share lies strictly below it.
    threshold = float(np.quantile(closeness[known], share, method="lower"))
    return (
        (float(weights[0]), float(weights[1]), float(weights[2])),
        threshold,
        float(np.mean(closeness[known] < threshold)),
        float(np.mean(closeness[~known] >= threshold)),
    )


def fit_logistic(features: Doubles, answers: Doubles) -> Doubles:
    """Fit a logistic curve by Newton's method; features (n, f), answers 0 or 1 (n,).

    Returns (1 + f,): the constant, then one weight per feature, in the features' own units.
    """
    centre, spread = features.mean(axis=0), features.std(axis=0)
    spread = np.where(spread > 0, spread, 1.0)
    design = _with_constant((features - centre) / spread)
    penalty = np.diag([0.0] + [_RIDGE * len(answers)] * features.shape[1])
    rate = np.clip(answers.mean(), 1e-6, 1 - 1e-6)
    weights = np.zeros(design.shape[1])
    weights[0] = math.log(rate / (1 - rate))
    for _ in range(100):
        chance = _logistic(design @ weights)
        slope = design.T @ (answers - chance) - penalty @ weights
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve + 1e-9 * np.eye(len(curve)), slope)
        # A long first step from far off can overshoot; the curve is gentle, so short ones do.
        step *= min(1.0, 4.0 / max(float(np.abs(step).max()), 1e-12))
        weights = weights + step
        if np.abs(step).max() < 1e-10:
            break
    slopes = weights[1:] / spread
    return np.concatenate([[weights[0] - float(slopes @ centre)], slopes])


def _with_constant(features: Doubles) -> Doubles:
    return np.concatenate([np.ones((len(features), 1)), features], axis=1)


def _logistic(values: Doubles) -> Doubles:
    result: Doubles = 0.5 * (1.0 + np.tanh(0.5 * values))  # the same curve, without overflow
    return result


def _cross_fitted_error(
    scores: Doubles, truth: NDArray[np.int64], objects: NDArray[np.generic]
) -> float:
    """Expected calibration error with each object judged by a temperature fitted without it."""
    _, number = np.unique(objects, return_inverse=True)
    fold = number % _FOLDS
    odds = np.empty_like(scores)
    for part in range(_FOLDS):
        rest = fold != part
        odds[~rest] = softmax(scores[~rest] / fit_temperature(scores[rest], truth[rest]))
    return expected_calibration_error(odds.max(axis=1), odds.argmax(axis=1) == truth)


def expected_calibration_error(confidence: ArrayLike, correct: ArrayLike, bins: int = 10) -> float:
    """Return the mean gap between odds given and share right, over bins of equal mass.

    ``confidence`` (n,) are the odds of each first lead, ``correct`` (n,) whether it was right.
    The finds are put in order of odds and cut into ``bins`` runs of nearly equal length (the
    first runs take one more each when n does not divide); the error is the mean of
    ``|mean odds - share right|`` weighted by length. Raises ``ValueError`` for shapes that do
    not fit, no finds, or ``bins`` below 1.
    """
    odds = np.asarray(confidence, np.float64)
    right = np.asarray(correct, np.float64)
    if odds.ndim != 1 or odds.shape != right.shape or not odds.size or bins < 1:
        raise ValueError(f"odds {odds.shape}, answers {right.shape}, {bins} bins do not fit")
    order = np.argsort(odds, kind="stable")
    runs = [run for run in np.array_split(order, bins) if run.size]
    gaps = [abs(odds[run].mean() - right[run].mean()) * run.size for run in runs]
    return float(sum(gaps) / odds.size)


def save_calibration(calibration: Calibration, index_folder: Path | str) -> None:
    """Write ``calibration.json`` into a set's index folder, in one step."""
    content = {"format": _FORMAT, **asdict(calibration)}
    write_text(Path(index_folder) / CALIBRATION_FILE, json.dumps(content, indent=1) + "\n")


def load_calibration(index_folder: Path | str) -> Calibration | None:
    """Read ``calibration.json``; ``None`` when there is none. Raises ``SetError`` if damaged."""
    path = Path(index_folder) / CALIBRATION_FILE
    try:
        return _from_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise SetError(
            f"{path} cannot be used ({error}).",
            hint="Remove it; leads then come without odds until it is fitted again.",
        ) from error


def _from_json(text: str) -> Calibration:
    content = json.loads(text)
    if not isinstance(content, dict) or content.pop("format", None) != _FORMAT:
        raise ValueError("it is not a calibration")
    names = {field.name for field in fields(Calibration)}
    if content.keys() != names:
        raise ValueError(f"entries missing or unknown: {sorted(content.keys() ^ names)}")
    if content["closeness"] is not None:
        first, second, third = (float(weight) for weight in content["closeness"])
        content["closeness"] = (first, second, third)
    calibration = Calibration(**content)
    numbers = [calibration.temperature, calibration.ece, *(calibration.closeness or ())]
    numbers += [] if calibration.threshold is None else [calibration.threshold]
    if not all(math.isfinite(number) for number in numbers) or calibration.temperature <= 0:
        raise ValueError("a number in it is out of range")
    return calibration
