"""The methods of the benchmark, by name, each with the settings that are tried.

A baseline is tried with a small grid of settings and shown with the best of them, chosen on the
very photos that are measured: that favours the baseline. An encoder is shown with every setting.
Vectors that mind turns all get the same query turns. What a method needs is imported when it is
built, so that the memory measured is its own.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from simsearch.errors import EncoderError
from simsearch.evaluation.scoring import Scorer, VectorScorer

if TYPE_CHECKING:
    from simsearch.encode import Encoder

CHANCE = "chance"
BASELINES = (CHANCE, "colour + LBP", "HOG", "SIFT", "outline", "untrained")
OWN = ("built-in", "built-in, placing", "product")
UNTRAINED_SEED = 20
_WEIGHTS, _OPEN_CLIP = "weights:", "open_clip:"


@dataclass(frozen=True)
class Setting:
    """One way to use a method: in words, how a query is turned, and the scorer.

    With ``of_types`` the scorer scores types, not photos, and is of use only where types are
    asked for.
    """

    words: str
    turns: str
    scorer: Scorer
    of_types: bool = False


@dataclass(frozen=True)
class Method:
    """``settings(turns)`` gives what to try on a task whose queries may be turned so often.

    ``best_only`` shows the best of them, ``fingerprint`` says what an encoder is made of.
    """

    name: str
    settings: Callable[[int], list[Setting]]
    best_only: bool = False
    fingerprint: str = ""


def build(name: str, reference: str | None = None) -> Method:
    """Return the method called ``name``; ``reference`` is the set that "product" looks in.

    One of BASELINES or OWN; ``weights:NAME=PATH`` for other weights of the built-in encoder's
    network; ``open_clip:...`` for a checkpoint as ``load_encoder`` takes it. Raises EncoderError
    for another name, or for an encoder that cannot be had.
    """
    if name == "product":
        return _product(reference)
    if name in _BUILDERS:
        return _BUILDERS[name]()
    if name.startswith(_WEIGHTS):
        return _network(*_other_weights(name.removeprefix(_WEIGHTS)))
    if name.startswith(_OPEN_CLIP):
        from simsearch.encode import load_encoder

        encoder = load_encoder(name)
        return Method(name, partial(_vector_settings, [("vector", encoder)]), False,
                      encoder.fingerprint)  # fmt: skip
    known = ", ".join((*BASELINES, *OWN, "weights:NAME=PATH", "open_clip:ARCHITECTURE/TAG"))
    raise EncoderError(f"There is no method called {name!r}.", hint=f"Known are: {known}.")


def _vector_settings(
    encoders: list[tuple[str, Encoder]], turns: int, averaged: int = 1
) -> list[Setting]:
    return [
        Setting(words, str(count), VectorScorer(encoder, count, averaged))
        for words, encoder in encoders
        for count in sorted({1, turns})
    ]


def _network(name: str, encoder: Encoder, words: str = "vector", best_only: bool = False) -> Method:
    """The built-in network, with one weights or others: it averages some turns itself."""
    from simsearch.encode.builtin import TURNS

    settings = partial(_vector_settings, [(words, encoder)], averaged=TURNS)
    return Method(name, settings, best_only, encoder.fingerprint)


def _chance() -> Method:
    return Method(CHANCE, lambda turns: [])


def _colour() -> Method:
    from simsearch.evaluation.baselines import ColourLbp

    # Histograms hardly mind turns, so they are not turned.
    grid = [Setting(f"{side} px", "free", VectorScorer(ColourLbp(side))) for side in (64, 128)]
    return Method("colour + LBP", lambda turns: grid, best_only=True)


def _hog() -> Method:
    from simsearch.evaluation.baselines import Hog

    grid: list[tuple[str, Encoder]] = [(f"{cell} px cells", Hog(cell)) for cell in (8, 16, 32)]
    return Method("HOG", partial(_vector_settings, grid), best_only=True)


def _sift() -> Method:
    from simsearch.evaluation.baselines import SiftSpatial

    scorers = [(f"ratio {ratio}", SiftSpatial(ratio=ratio)) for ratio in (0.8, 0.9)]
    grid = [Setting(words, "free", scorer) for words, scorer in scorers]
    return Method("SIFT + spatial check", lambda turns: grid, best_only=True)


def _outline() -> Method:
    from simsearch.evaluation.outline import GROUNDS, MEASURES, Outline

    grid = [
        Setting(f"by {ground}, {measure}", "free", Outline(ground, measure))
        for ground in GROUNDS
        for measure in MEASURES
    ]
    return Method("outline", lambda turns: grid, best_only=True)


def _untrained() -> Method:
    import torch
    from safetensors.torch import save

    from simsearch.encode.builtin import BuiltIn
    from simsearch.encode.network import Network

    with torch.random.fork_rng(devices=[]):
        torch.manual_seed(UNTRAINED_SEED)
        weights = save(Network().state_dict())
    words = f"random weights, seed {UNTRAINED_SEED}"
    return _network("untrained network", BuiltIn(weights), words, best_only=True)


def _built_in() -> Method:
    from simsearch.encode import load_encoder

    return _network("built-in", load_encoder())


def _placing() -> Method:
    from simsearch.encode import load_encoder
    from simsearch.evaluation.placed import SHORTLIST, PlacedScorer

    try:
        from simsearch.leads.features import DEFAULT_WEIGHTS
        from simsearch.leads.placing import place
    except ImportError as error:
        raise EncoderError(
            f"Patches do not rank in this version ({error}), so placing is left out."
        ) from error
    encoder = load_encoder()
    weight = DEFAULT_WEIGHTS[1] / DEFAULT_WEIGHTS[0]
    words = f"{SHORTLIST} nearest placed, weight {weight:g}"
    setting = Setting(words, "1, placing turns", PlacedScorer(encoder, place, weight))
    return Method("built-in, placing", lambda turns: [setting], fingerprint=encoder.fingerprint)


def _product(folder: str | None) -> Method:
    import simsearch
    from simsearch.evaluation.placed import LookScorer

    reference = simsearch.open_set(folder)
    setting = Setting("look()", "as the product", LookScorer(reference), of_types=True)
    return Method("product", lambda turns: [setting], fingerprint=reference.encoder().fingerprint)


def _other_weights(text: str) -> tuple[str, Encoder]:
    name, equals, path = text.partition("=")
    if not name or not equals or not path:
        raise EncoderError(
            f"{text!r} does not name weights.", hint="Give them as NAME=FILE.safetensors."
        )
    from simsearch.encode.builtin import BuiltIn

    try:
        return name, BuiltIn(Path(path).read_bytes())
    except OSError as error:
        raise EncoderError(f"The weights {path} cannot be read: {error.strerror}.") from error


_BUILDERS: dict[str, Callable[[], Method]] = {
    CHANCE: _chance,
    "colour + LBP": _colour,
    "HOG": _hog,
    "SIFT": _sift,
    "outline": _outline,
    "untrained": _untrained,
    "built-in": _built_in,
    "built-in, placing": _placing,
}
