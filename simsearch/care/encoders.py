"""Choosing an encoder by evidence: several of them on one's own set, side by side.

Every encoder looks up the same objects among the same others, so two encoders can be compared
object by object: what is hard for both does not blur the difference. An object with several
photos counts once. Differences are given with what they might be if other objects had been
taken (bootstrap over objects, Efron 1979), and one that may be chance is called so.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simsearch.care.encoder_measure import (
    Judged,
    Measured,
    Progress,
    measure_apart,
    photos_to_look_up,
)
from simsearch.errors import EncoderError, SimsearchError
from simsearch.index import index_command
from simsearch.sets.reference_set import ReferenceSet

Doubles = NDArray[np.float64]
MeasureOne = Callable[[ReferenceSet, str, Progress | None], Measured]

_DRAWS = 4000
_DOUBT = 0.05
_FEWEST_DIFFERENT = 6
"""Fewest objects that must differ. Five that all speak for one encoder happen by chance in one of
sixteen cases (sign test, 2 / 2**5); the bootstrap, which sees only these five, would be sure."""
_FEW_OBJECTS = 100


@dataclass(frozen=True)
class Share:
    """A share of objects, 0 to 1, and between what it lies with 95 in 100 (Wilson 1927)."""

    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Figures:
    """What one encoder does on the set.

    ``first`` and ``in_five`` are by the photo as a whole, over all ``objects`` that can be looked
    up. The last four are what leads would be, with patches and odds, over ``looked_up`` objects:
    how often the first lead is right, how often the list that promises 9 of 10 holds the right
    type, how many types it has, and the mean surprise (minus the logarithm of the right type's
    odds). They are ``None`` in a set too small for odds.
    """

    encoder: str
    objects: int
    looked_up: int
    first: Share
    in_five: Share
    milliseconds: float
    memory_mb: float | None
    weights_mb: float | None
    first_lead: Share | None = None
    list_holds: Share | None = None
    list_length: float | None = None
    surprise: float | None = None


@dataclass(frozen=True)
class Difference:
    """How much better ``encoder`` is than ``other``, and between what that may lie.

    ``measure`` is "first" or "surprise"; ``by`` is in shares of objects or in surprise saved.
    """

    measure: str
    encoder: str
    other: str
    by: float
    low: float
    high: float
    may_be_chance: bool


@dataclass(frozen=True)
class Comparison:
    """Several encoders on one set, best first; ``failed`` are (name, what was wrong)."""

    set_folder: str
    current: str
    figures: tuple[Figures, ...]
    differences: tuple[Difference, ...]
    failed: tuple[tuple[str, str], ...]

    def to_dict(self) -> dict[str, Any]:
        """Return everything as JSON can hold it, the words included."""
        return asdict(self) | {"words": self.words()}

    def words(self) -> list[str]:
        """Say in plain sentences which encoder is better, if any is, and how to switch."""
        return _words(self)


def compare_encoders(
    reference: ReferenceSet,
    names: Sequence[str],
    *,
    progress: Progress | None = None,
    measure_one: MeasureOne | None = None,
) -> Comparison:
    """Measure encoders on a set, each in a fresh process, and compare them with the best.

    One that cannot be measured is told in ``failed`` and the others go on; ``EncoderError``
    when none could be. ``progress`` is called with (steps done, steps in all), which together
    cover all encoders. Raises ``SetError`` when nothing in the set can be looked up.
    The set's index stays as it is.
    """
    photos_to_look_up(reference)
    wanted = list(dict.fromkeys(names))
    if not wanted:
        raise EncoderError("There is no encoder to measure.", hint="Name one, such as built-in.")
    run = measure_one or _apart
    found: list[Measured] = []
    failed: list[tuple[str, str]] = []
    for number, name in enumerate(wanted):
        try:
            found.append(run(reference, name, _part(progress, number, len(wanted))))
        except SimsearchError as error:
            if len(failed) == len(wanted) - 1:
                raise
            failed.append((name, str(error)))
    ordered = sorted(found, key=_mean_right, reverse=True)
    return Comparison(
        set_folder=str(reference.folder),
        current=_current(reference),
        figures=tuple(_figures(one) for one in ordered),
        differences=tuple(_differences(ordered)),
        failed=tuple(failed),
    )


def _apart(reference: ReferenceSet, name: str, progress: Progress | None) -> Measured:
    return measure_apart(reference, name, progress=progress)


def _part(progress: Progress | None, number: int, count: int) -> Progress | None:
    """Progress of one encoder as a part of that of all."""
    if progress is None:
        return None

    def tell(done: int, total: int) -> None:
        progress(number * total + done, count * total)

    return tell


def _current(reference: ReferenceSet) -> str:
    """The encoder that the set's index was made with; an empty string without an index."""
    try:
        return reference.index.encoder_name
    except SimsearchError:
        return ""


def per_object(values: Sequence[float], specimens: Sequence[str]) -> Doubles:
    """Return the mean over the photos of each object, objects in order of name: (objects,)."""
    _, number = np.unique(specimens, return_inverse=True)
    totals = np.bincount(number, weights=np.asarray(values, np.float64))
    means: Doubles = totals / np.bincount(number)
    return means


def share_of(values: Doubles) -> Share:
    """Return the mean of per-object shares with Wilson's interval for so many objects.

    Wilson's holds for counts of yes and no; for means over several photos it is a little wide.
    Unlike the bootstrap it does not shrink to nothing when every object is right.
    """
    z, count, mean = 1.959964, len(values), float(values.mean())
    middle = (mean + z * z / (2 * count)) / (1 + z * z / count)
    half = math.sqrt(mean * (1 - mean) / count + z * z / (4 * count * count))
    half *= z / (1 + z * z / count)
    return Share(mean, max(0.0, min(mean, middle - half)), min(1.0, max(mean, middle + half)))


def paired_difference(
    one: Doubles, other: Doubles, *, doubt: float = _DOUBT, seed: int = 0
) -> tuple[float, float, float, bool]:
    """Return the mean of ``one - other`` over objects, its interval, and whether chance will do.

    The interval is that of the percentile bootstrap over objects; ``doubt`` is the share left
    outside it.
    """
    gaps = one - other
    rng = np.random.default_rng(seed)
    # Some draws at a time, so that a large set needs no large table.
    draws = np.concatenate(
        [
            gaps[rng.integers(0, len(gaps), (_DRAWS // 20, len(gaps)))].mean(axis=1)
            for _ in range(20)
        ]
    )
    low, high = np.quantile(draws, [doubt / 2, 1 - doubt / 2])
    different = int((np.abs(gaps) > 1e-12).sum())
    chance = different < _FEWEST_DIFFERENT or low <= 0.0 <= high
    return float(gaps.mean()), float(low), float(high), bool(chance)


def _right(measured: Measured, at_most: int = 1) -> Doubles:
    return per_object([place <= at_most for place in measured.places], measured.specimens)


def _first_lead(judged: Judged) -> Doubles:
    return per_object([place == 1 for place in judged.places], judged.specimens)


def _best_known(measured: Measured) -> Doubles:
    """How often each object comes first: in the leads where they are known, else by vector."""
    return _right(measured) if measured.judged is None else _first_lead(measured.judged)


def _mean_right(measured: Measured) -> float:
    return float(_best_known(measured).mean())


def _figures(measured: Measured) -> Figures:
    judged = measured.judged
    first = _right(measured)
    common: dict[str, Any] = {
        "encoder": measured.encoder,
        "objects": len(first),
        "looked_up": len(set(judged.specimens)) if judged else len(first),
        "first": share_of(first),
        "in_five": share_of(_right(measured, 5)),
        "milliseconds": measured.milliseconds,
        "memory_mb": measured.memory_mb,
        "weights_mb": measured.weights_mb,
    }
    if judged is None:
        return Figures(**common)
    return Figures(
        **common,
        first_lead=share_of(_first_lead(judged)),
        list_holds=share_of(per_object(judged.listed, judged.specimens)),
        list_length=float(per_object(judged.lengths, judged.specimens).mean()),
        surprise=float(per_object(judged.surprise, judged.specimens).mean()),
    )


def _differences(ordered: Sequence[Measured]) -> list[Difference]:
    """Compare the best with each of the others; with more of them, more certainty is asked."""
    found: list[Difference] = []
    for other in ordered[1:]:
        best = ordered[0]
        doubt = _DOUBT / (len(ordered) - 1)
        pairs = {"first": (_best_known(best), _best_known(other))}
        if best.judged and other.judged:
            saved = [-per_object(j.surprise, j.specimens) for j in (best.judged, other.judged)]
            pairs["surprise"] = (saved[0], saved[1])
        for measure, (one, two) in pairs.items():
            by, low, high, chance = paired_difference(one, two, doubt=doubt)
            found.append(Difference(measure, best.encoder, other.encoder, by, low, high, chance))
    return found


def _words(found: Comparison) -> list[str]:
    best = found.figures[0]
    lines = [_measured_words(best, alone=len(found.figures) == 1)]
    by_pair = {(one.measure, one.other): one for one in found.differences}
    for other in found.figures[1:]:
        lines.append(_verdict(by_pair["first", other.encoder], best, other))
        odds = by_pair.get(("surprise", other.encoder))
        if odds is not None:
            lines.append(_odds_verdict(odds))
    lines += [f"{name} could not be measured: {what}" for name, what in found.failed]
    if best.objects < _FEW_OBJECTS:
        lines.append(f"With {best.objects} objects only large differences show; more would tell.")
    lines.append(
        "All this is about finds like those in the set: photographed by the same people, as "
        "complete and as clean."
    )
    lines.append(
        f"To switch: {index_command(found.set_folder)} --encoder NAME. What was encoded is kept "
        "for that until the next index is complete; the old index stays until then. Odds are "
        "measured anew afterwards, with: simsearch odds."
    )
    return lines


def _measured_words(best: Figures, *, alone: bool) -> str:
    share = best.first_lead or best.first
    does = "was measured" if alone else "does best"
    how = "by patches and odds too" if best.first_lead else "by the photo as a whole"
    return (
        f"{best.looked_up} objects were looked up, each among all others but itself. "
        f"{best.encoder} {does}: the right type comes first for {_in_100(share.value)} in 100 "
        f"({how}; with other objects of this kind it might be {_in_100(share.low)} to "
        f"{_in_100(share.high)})."
    )


def _verdict(one: Difference, best: Figures, other: Figures) -> str:
    by, low, high = (_in_100(value) for value in (one.by, one.low, one.high))
    if not one.may_be_chance:
        return (
            f"{one.encoder} is better here than {one.other}: the right type comes first for {by} "
            f"objects in 100 more. With other objects of this kind it might be {low} to {high}."
        )
    seen = f"puts {by} objects in 100 more first" if by else "does as well"
    return (
        f"No difference is shown between {one.encoder} and {one.other}: {one.encoder} {seen}, "
        f"and that could be chance (between {low} and {high} more). {_cheaper(best, other)}"
    )


def _odds_verdict(one: Difference) -> str:
    if one.may_be_chance:
        return f"Their odds are not shown to differ either way ({one.encoder}, {one.other})."
    if one.by > 0:
        return f"{one.encoder} also gives the right type higher odds than {one.other}."
    return f"But {one.other} gives the right type higher odds than {one.encoder}."


def _cheaper(best: Figures, other: Figures) -> str:
    quick, slow = sorted((best, other), key=lambda one: one.milliseconds)
    if slow.milliseconds < 1.2 * quick.milliseconds:
        return "Both take about as long for a photo."
    times = slow.milliseconds / quick.milliseconds
    return f"{quick.encoder} is {times:.1f} times as quick."


def _in_100(value: float) -> int:
    return round(100 * value)
