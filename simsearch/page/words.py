"""Odds, counts and lists put into plain words, for the page and for the commands."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from simsearch.leads.calibration import Calibration
    from simsearch.leads.model import Lead, Leads, Placing
    from simsearch.sets.types import Type

_SHARES = (
    (0.1, "a tenth"), (0.2, "a fifth"), (0.25, "a quarter"), (1 / 3, "a third"), (0.5, "half"),
    (2 / 3, "two thirds"), (0.75, "three quarters"), (0.85, "most"),
)  # fmt: skip
LEADS_NOT_IDENTIFICATIONS = "Leads to verify, not identifications."
NOTHING_CLOSE = "Nothing here looks close."


def odds_words(odds: float | None) -> str:
    """Measured odds in [0, 1] as a sentence; an empty string when they are not known.

    Tenths are as fine as anybody can use; the ends say "fewer than" and "more than" so that
    nothing is ever called certain or impossible.
    """
    if odds is None:
        return ""
    if odds < 0.05:
        amount = "fewer than 1 in 20"
    elif odds > 0.95:
        amount = "more than 19 in 20"
    else:
        amount = f"about {max(1, min(9, round(odds * 10)))} in 10"
    return f"{amount} of such leads were right in our tests"


def lead_odds_words(lead: Lead) -> str:
    """How sure a lead is, as a sentence; empty without odds.

    Once observations count there is no share of tests to speak of: that step was not measured.
    """
    if lead.odds is None or lead.before is None:
        return odds_words(lead.odds)
    from simsearch.leads.refine import amount_words

    before = amount_words(lead.before)
    return f"{amount_words(lead.odds)} with what you observed; by the photo alone {before}"


def shortlist_words(leads: Leads, types: Mapping[str, Type]) -> str:
    """The list that holds the right type in a promised share of cases; empty without one."""
    if not leads.shortlist or not leads.shortlist_note:
        return ""
    names = [types[type_id].name for type_id in leads.shortlist]
    return f"{leads.shortlist_note} {count(len(names), 'type')}: {'; '.join(names)}."


def measured_words(calibration: Calibration) -> list[str]:
    """What was measured for a set and how well it holds, a sentence each."""
    found = calibration.measured
    sentences = [
        f"Odds measured on {count(found.objects, 'object')} of known type "
        f"({count(found.photos, 'look-up')}).",
        f"Where a first lead was given odds, the share that was right differed by "
        f"{_hundred(found.error)} on average; {_hundred(found.error_by_chance)} would be chance.",
    ]
    for level in sorted(calibration.limits):
        sentences.append(
            f"A list meant to hold the right type in {_hundred(level)} held it in "
            f"{_hundred(found.coverage[level])}, with {found.length[level]:.1f} types on average."
        )
    if found.false_reject is not None:
        sentences.append(
            f"Finds whose type is there, called not close: {_hundred(found.false_reject)}."
        )
    for kind, share in found.false_accept.items():
        sentences.append(
            f"Finds whose {kind} was taken out, still called close: {_hundred(share)}."
        )
    return sentences


def _hundred(share: float) -> str:
    return f"{100 * share:.0f} in 100"


def seen_words(seen: float) -> str:
    """How much of a reference object a find covers, ``seen`` in [0, 1], as a cautious sentence."""
    if seen >= 0.9:
        return "nearly all of this type's outline seems to be present"
    if seen < 0.07:
        return "only a small part of this type's outline seems to be present"
    amount = min(_SHARES, key=lambda share: abs(share[0] - seen))[1]
    about = "" if amount == "most" else "about "
    return f"{about}{amount} of this type's outline seems to be present"


def placing_sentence(placing: Placing) -> str:
    """How much of the object a placing suggests, and what to make of it."""
    seen = seen_words(placing.seen)
    return f"{seen[0].upper()}{seen[1:]}. A lead to verify: hold the object against the picture."


def placing_words(placing: Placing | None) -> str:
    """Where a find seems to fit, for a line of text; empty where that is not clear enough."""
    if placing is None or not placing.clear:
        return ""
    what = "rendered picture" if placing.photo.is_rendered else "photo"
    return f"Laid over the {what} {placing.photo.id}: {seen_words(placing.seen)}."


def count(number: int, singular: str, plural: str = "") -> str:
    """``count(1, "photo")`` is "1 photo", ``count(3, "photo")`` is "3 photos"."""
    return f"{number} {singular if number == 1 else plural or singular + 's'}"


def length_words(length_mm: tuple[float, float] | None) -> str:
    """A length range in mm as words; an empty string when it is not known."""
    if length_mm is None:
        return ""
    low, high = length_mm
    return f"{low:g} mm" if low == high else f"{low:g} to {high:g} mm"


def close_ids(wanted: str, ids: Iterable[str]) -> list[str]:
    """Up to three ids spelt most like ``wanted``, the nearest first."""
    known = list(ids)
    slug = "-".join(wanted.casefold().split())
    close = get_close_matches(slug, known, n=3, cutoff=0.5)
    # "colchester" should offer every Colchester form, however long its id is.
    holding = [other for other in known if slug and slug in other and other not in close]
    return (close + holding)[:3]
