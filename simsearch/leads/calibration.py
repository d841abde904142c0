"""What was measured on finds of known type, and what it says about a new find.

A calibration has three parts, each with its own module: odds of types (``odds``), a list that
holds the right type in a promised share of cases (``shortlist``), and whether anything is close
at all (``closeness``). It belongs to one encoder and one selection of photos. For any other there
are no odds: made-up ones would be worse than none.

All figures in it are cross-fitted: each object is judged by what was fitted without it. The
limits of the list and the threshold of closeness are set on such judgements too, so that they
are not flattered by finds that the odds have seen. That leaves out of account that the final odds
rest on a fifth more objects, which for a handful of parameters is little.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simsearch.leads.closeness import (
    Closeness,
    area_under_curve,
    fit_closeness,
    inputs_of,
    threshold_for,
    usual_sums,
)
from simsearch.leads.features import FEATURES
from simsearch.leads.odds import Counts, Doubles, Odds, checked, fit_odds
from simsearch.leads.reliability import error_by_chance, expected_calibration_error
from simsearch.leads.shortlist import LEVELS, SHOWN, fit_limits, in_list, promise

MIN_FINDS = 50
"""Fewest objects of known type for which odds are given at all.

With 50, a list that promises 9 of 10 holds the right type in 83 to 96 of 100 cases (nine times in
ten, by the beta law in ``shortlist``); with 20 it would be 78 to 98, and the promise of 19 of 20
could just be made. Fewer would mislead more than help.
"""
_FOLDS = 5


@dataclass(frozen=True)
class Measured:
    """How much was measured, and how well it holds.

    ``photos`` photos or sets of photos of ``objects`` objects; ``most_photos`` is the largest
    number of photos of one find that odds were measured for. ``error`` is the expected
    calibration error of the first leads' odds, ``error_by_chance`` what it would be if they
    held exactly. ``coverage`` and ``length`` are, by promise, how often the list held the right
    type and how many types it had on average. ``false_reject`` is the share of finds of known
    type that were called far; ``false_accept`` and ``area`` (under the ROC curve) are given by
    what was left out, "type" or "group".
    """

    photos: int
    objects: int
    most_photos: int
    error: float
    error_by_chance: float
    coverage: Mapping[float, float]
    length: Mapping[float, float]
    false_reject: float | None = None
    false_accept: Mapping[str, float] = field(default_factory=dict)
    area: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Judgement:
    """What a calibration says about one find.

    ``sums`` and ``odds`` are (types,); ``listed`` are the positions of the types on the list,
    likeliest first, ``None`` when too little was measured for a list. ``closeness`` is 0..1.
    """

    sums: Doubles
    odds: Doubles
    listed: tuple[int, ...] | None
    closeness: float | None
    close: bool


@dataclass(frozen=True)
class Calibration:
    """What was fitted. ``limits`` are by promise (0.9 for 9 of 10); ``columns`` name the features.

    ``closeness`` is ``None`` where no finds of missing types could be measured.
    """

    odds: Odds
    limits: Mapping[float, float]
    closeness: Closeness | None
    measured: Measured
    columns: tuple[str, ...]
    encoder_fingerprint: str
    set_fingerprint: str
    note: str = ""

    def judge(self, features: ArrayLike, photos: int = 1) -> Judgement:
        """Judge one find by its features (types, F), combined from so many photos."""
        table = np.asarray(features, np.float64)
        odds = self.odds.odds(table, photos)
        close = (
            None if self.closeness is None else float(self.closeness.of(self.odds, table[None])[0])
        )
        threshold = 0.0 if self.closeness is None else self.closeness.threshold
        return Judgement(
            sums=self.odds.sums(table),
            odds=odds,
            listed=self._listed(odds),
            closeness=close,
            close=close is None or close >= threshold,
        )

    def _listed(self, odds: Doubles) -> tuple[int, ...] | None:
        if SHOWN not in self.limits:
            return None
        order = np.argsort(-odds, kind="stable")
        listed = in_list(odds, self.limits[SHOWN])
        return tuple(int(position) for position in order if listed[position])

    @property
    def weights(self) -> tuple[float, ...]:
        """Weights of the columns, as ``features.fused`` takes them to rank types."""
        return self.odds.weights

    @property
    def promise(self) -> str:
        """What the list promises, in words; empty where there is no list."""
        return promise(self.limits)


def fit_calibration(
    features: ArrayLike,
    true_type: ArrayLike,
    *,
    encoder_fingerprint: str,
    set_fingerprint: str,
    objects: ArrayLike | None = None,
    without: Mapping[str, ArrayLike] | None = None,
    photos: ArrayLike = 1,
    note: str = "",
) -> Calibration:
    """Fit a calibration on finds that neither the encoder nor the set's photos have seen.

    ``features`` is (n, types, F); ``true_type`` (n,) the position of each find's type;
    ``objects`` (n,) names the object of each row (default: each row its own), so that photos of
    one object never stand on both sides of a fold; ``photos`` (n,) says how many photos a row
    was combined from. ``without`` holds the features of the same finds measured with their own
    "type" or its whole "group" left out of the set, -inf for what was left out.
    Raises ``ValueError`` for shapes that do not fit or fewer than ``MIN_FINDS`` objects.
    """
    table, truth = checked(features, true_type)
    names = np.arange(len(truth)) if objects is None else np.asarray(objects)
    several = np.broadcast_to(np.asarray(photos, np.int64), truth.shape)
    if names.shape != truth.shape:
        raise ValueError(f"objects are {names.shape}, not {truth.shape}")
    count = len(np.unique(names))
    if count < MIN_FINDS:
        raise ValueError(f"{count} objects of known type; odds need at least {MIN_FINDS}")
    far = {kind: np.asarray(rows, np.float64) for kind, rows in (without or {}).items()}
    for kind, rows in far.items():
        if rows.shape != table.shape:
            raise ValueError(f"features without their {kind} are {rows.shape}, not {table.shape}")
    finds = _Finds(table, truth, names, several, far)
    odds = fit_odds(table, truth, several)
    held = _cross_fitted(finds)
    alone = finds.alone
    return Calibration(
        odds=odds,
        limits=fit_limits(held.odds[alone], truth[alone], names[alone]),
        closeness=_closeness(finds, odds, held),
        measured=_measured(finds, held),
        columns=FEATURES[: table.shape[2]],
        encoder_fingerprint=encoder_fingerprint,
        set_fingerprint=set_fingerprint,
        note=note,
    )


@dataclass(frozen=True, eq=False)
class _Finds:
    table: Doubles
    truth: Counts
    objects: NDArray[np.generic]
    photos: Counts
    far: dict[str, Doubles]

    @property
    def folds(self) -> Counts:
        """Which of the folds each row is in, by its object."""
        _, number = np.unique(self.objects, return_inverse=True)
        # Objects of one type stand together by name; a stride spreads them over the folds.
        folds: Counts = (number % _FOLDS).astype(np.int64)
        return folds

    @property
    def alone(self) -> NDArray[np.bool_]:
        """The rows that the lists are fitted on: single photos, where there are enough of them.

        Several photos tell more than one, so a limit fitted on both would promise too much for
        a single photo; for several it then promises too little, which does no harm.
        """
        single = self.photos == 1
        return single if len(np.unique(self.objects[single])) >= MIN_FINDS else np.ones_like(single)


@dataclass(frozen=True, eq=False)
class _Held:
    """Judgements of every find by what was fitted without its object."""

    odds: Doubles
    near: Doubles
    far: dict[str, Doubles]


def _cross_fitted(finds: _Finds) -> _Held:
    odds = np.empty(finds.table.shape[:2])
    near = np.empty(len(odds))
    far = {kind: np.empty(len(odds)) for kind in finds.far}
    for part in range(_FOLDS):
        held = finds.folds == part
        if not held.any():
            continue
        rest = ~held
        model = fit_odds(finds.table[rest], finds.truth[rest], finds.photos[rest])
        odds[held] = model.odds(finds.table[held], finds.photos[held])
        if far:
            judge = _curve(finds, model, rest)
            near[held] = judge.of(model, finds.table[held])
            for kind, rows in finds.far.items():
                far[kind][held] = judge.of(model, rows[held])
    return _Held(odds, near, far)


def _curve(finds: _Finds, model: Odds, chosen: NDArray[np.bool_]) -> Closeness:
    """Fit closeness on some of the finds, without its threshold.

    Every way of leaving out counts the same.
    """
    usual = usual_sums(model, finds.table[chosen], finds.truth[chosen])
    near = inputs_of(model, finds.table[chosen], usual)
    left = [_there(rows[chosen]) for rows in finds.far.values()]
    far = np.concatenate([inputs_of(model, rows, usual) for rows in left])
    return Closeness(fit_closeness(near, far), 0.0, usual)


def _there(rows: Doubles) -> Doubles:
    """The finds for which anything was left to compare with."""
    left: Doubles = rows[~np.isneginf(rows[:, :, 0]).all(axis=1)]
    return left


def _closeness(finds: _Finds, odds: Odds, held: _Held) -> Closeness | None:
    if not finds.far:
        return None
    everything = np.ones(len(finds.truth), bool)
    threshold = threshold_for(held.near, objects=finds.objects)
    return replace(_curve(finds, odds, everything), threshold=threshold)


def _measured(finds: _Finds, held: _Held) -> Measured:
    first = held.odds.max(axis=1)
    right = held.odds.argmax(axis=1) == finds.truth
    listed, close, accepted = _judged_by_the_rest(finds, held)
    own = np.arange(len(finds.truth)), finds.truth
    enough = [
        many
        for many in np.unique(finds.photos)
        if len(np.unique(finds.objects[finds.photos == many])) >= MIN_FINDS
    ]
    return Measured(
        photos=len(finds.truth),
        objects=len(np.unique(finds.objects)),
        most_photos=int(max(enough, default=1)),
        error=expected_calibration_error(first, right),
        error_by_chance=error_by_chance(first),
        coverage={k: float(found[own][finds.alone].mean()) for k, found in listed.items()},
        length={k: float(found[finds.alone].sum(axis=1).mean()) for k, found in listed.items()},
        false_reject=float(np.mean(~close)) if finds.far else None,
        false_accept={kind: float(np.mean(calls)) for kind, calls in accepted.items()},
        area={kind: area_under_curve(held.near, far) for kind, far in held.far.items()},
    )


def _judged_by_the_rest(
    finds: _Finds, held: _Held
) -> tuple[dict[float, NDArray[np.bool_]], NDArray[np.bool_], dict[str, NDArray[np.bool_]]]:
    """Judge each fold by the limits and the threshold that the other folds give."""
    listed = {level: np.zeros(held.odds.shape, bool) for level in LEVELS}
    close = np.ones(len(finds.truth), bool)
    accepted = {kind: np.ones(len(finds.truth), bool) for kind in finds.far}
    for part in range(_FOLDS):
        mine = finds.folds == part
        rest = ~mine
        some = rest & finds.alone
        limits = fit_limits(held.odds[some], finds.truth[some], finds.objects[some])
        for level in LEVELS:
            listed[level][mine] = in_list(held.odds[mine], limits.get(level, np.inf))
        if finds.far:
            threshold = threshold_for(held.near[rest], objects=finds.objects[rest])
            close[mine] = held.near[mine] >= threshold
            for kind, far in held.far.items():
                accepted[kind][mine] = far[mine] >= threshold
    return listed, close, accepted
