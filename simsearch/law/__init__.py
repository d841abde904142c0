"""Law and first aid for finds, line by line with their sources.

``countries`` answers what the law asks in one country, ``first_aid`` what to do with a metal,
``triggers`` which of it matters for one find, and ``choice`` keeps the country that somebody
chose. The lines are data: ``law.toml``, ``care.toml`` and ``sources.toml`` in this folder, read by
``table``.

These are reminders, not legal advice: the text in force, finds officers and conservators have the
last word, and whatever shows a line shows ``CHECK_CURRENT`` and its source beside it.
"""

from simsearch.law.table import (
    CHECK_CURRENT,
    COUNTRIES,
    MATERIALS,
    NOT_ADVICE,
    TOPICS,
    LawError,
    Rule,
)

__all__ = [
    "CHECK_CURRENT",
    "COUNTRIES",
    "MATERIALS",
    "NOT_ADVICE",
    "TOPICS",
    "LawError",
    "Rule",
]
