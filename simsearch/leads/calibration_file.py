"""``calibration.json`` in the folder of a set's index."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any

from simsearch.errors import SetError
from simsearch.files import write_text
from simsearch.leads.calibration import Calibration, Measured
from simsearch.leads.closeness import Closeness, Usual
from simsearch.leads.features import FEATURES
from simsearch.leads.odds import Odds

CALIBRATION_FILE = "calibration.json"
_FORMAT = "simsearch calibration"
_VERSION = 2
_EARLIER = "simsearch calibration 1"


class _Earlier(ValueError):
    """The file was written by a version that measured less."""


def save_calibration(calibration: Calibration, index_folder: Path | str) -> None:
    """Write ``calibration.json`` into a set's index folder, in one step."""
    content = {"format": _FORMAT, "version": _VERSION, **asdict(calibration)}
    text = json.dumps(content, indent=1, allow_nan=False)
    write_text(Path(index_folder) / CALIBRATION_FILE, text + "\n")


def load_calibration(index_folder: Path | str) -> Calibration | None:
    """Read ``calibration.json``; ``None`` when there is none. Raises ``SetError`` if unusable."""
    path = Path(index_folder) / CALIBRATION_FILE
    try:
        return _from_json(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except _Earlier as error:
        raise SetError(
            f"{path} was measured by an earlier version of simsearch.",
            hint="Measure the odds again, or remove it; without it leads come without odds.",
        ) from error
    except (OSError, ValueError, TypeError, KeyError, AttributeError) as error:
        raise SetError(
            f"{path} cannot be used ({error}).",
            hint="Remove it; leads then come without odds until they are measured again.",
        ) from error


def _from_json(text: str) -> Calibration:
    content = json.loads(text)
    if isinstance(content, dict) and content.get("format") == _EARLIER:
        raise _Earlier
    if not isinstance(content, dict) or content.get("format") != _FORMAT:
        raise ValueError("it is not a calibration")
    if content.get("version") != _VERSION:
        raise ValueError(f"its version is {content.get('version')!r}; here {_VERSION} is read")
    columns = tuple(str(name) for name in content["columns"])
    if columns != FEATURES[: len(columns)] or not columns:
        raise ValueError(f"it is about the features {columns}")
    close = content["closeness"]
    return Calibration(
        odds=_odds(content["odds"], len(columns)),
        limits=_by_share(content["limits"]),
        closeness=None if close is None else _closeness(close, len(columns)),
        measured=_measured(content["measured"]),
        columns=columns,
        encoder_fingerprint=_words(content["encoder_fingerprint"]),
        set_fingerprint=_words(content["set_fingerprint"]),
        note=_words(content["note"]),
    )


def _odds(content: Mapping[str, Any], columns: int) -> Odds:
    odds = Odds(
        weights=_numbers(content["weights"], columns),
        sharpen=_numbers(content["sharpen"], columns + 1),
        centre=_numbers(content["centre"], columns),
        spread=_numbers(content["spread"], columns),
        stray=_number(content["stray"], 0, 1),
    )
    if min(odds.weights) < 0 or min(odds.spread) <= 0:
        raise ValueError("a weight or a spread in it is out of range")
    return odds


def _closeness(content: Mapping[str, Any], columns: int) -> Closeness:
    # The constant, seven numbers on the weighted sum and the odds, and two on each column.
    count = 8 if columns == 1 else 8 + 2 * columns
    mean, spread = content["usual"]["mean"], content["usual"]["spread"]
    usual = Usual(_numbers(mean, len(mean)), _numbers(spread, len(mean)))
    if min(usual.spread, default=0.0) <= 0:
        raise ValueError("a spread in it is out of range")
    weights = _numbers(content["weights"], count)
    return Closeness(weights, _number(content["threshold"], 0, 1), usual)


def _measured(content: Mapping[str, Any]) -> Measured:
    reject = content["false_reject"]
    return Measured(
        photos=_count(content["photos"]),
        objects=_count(content["objects"]),
        most_photos=_count(content["most_photos"]),
        error=_number(content["error"], 0, 1),
        error_by_chance=_number(content["error_by_chance"], 0, 1),
        coverage=_by_share(content["coverage"]),
        length={float(key): _number(value) for key, value in content["length"].items()},
        false_reject=None if reject is None else _number(reject, 0, 1),
        false_accept={str(k): _number(v, 0, 1) for k, v in content["false_accept"].items()},
        area={str(k): _number(v, 0, 1) for k, v in content["area"].items()},
    )


def _by_share(content: Mapping[str, Any]) -> dict[float, float]:
    return {_number(float(key), 0, 1): _number(value, 0, 2) for key, value in content.items()}


def _numbers(values: Any, count: int) -> tuple[float, ...]:
    if not isinstance(values, list) or len(values) != count:
        raise ValueError(f"a list in it does not hold {count} numbers")
    return tuple(_number(value) for value in values)


def _number(value: Any, low: float = -math.inf, high: float = math.inf) -> float:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if not number or not math.isfinite(value) or not low <= value <= high:
        raise ValueError(f"{value!r} in it is no number of the right size")
    return float(value)


def _count(value: Any) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or value < 0:
        raise ValueError(f"{value!r} in it is no count")
    return value


def _words(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} in it is no text")
    return value
