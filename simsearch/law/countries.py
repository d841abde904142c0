"""What the law asks in one country."""

from __future__ import annotations

from collections.abc import Iterable

from simsearch.law.table import COUNTRIES, TOPICS, LawError, Rule, shipped


def rules(country: str, topics: Iterable[str] | None = None) -> tuple[Rule, ...]:
    """The lines of a country, in the order of ``TOPICS``; of some topics only when given.

    ``country`` is an id or a name of ``COUNTRIES``. Raises ``LawError`` for another, or for a
    topic that is not known.
    """
    lines = shipped().rules[country_id(country)]
    if topics is None:
        return lines
    wanted = set(topics)
    unknown = sorted(wanted.difference(TOPICS))
    if unknown:
        raise LawError(
            f"There is no topic '{unknown[0]}'.", hint=f"Topics are: {', '.join(TOPICS)}."
        )
    return tuple(line for line in lines if line.topic in wanted)


def country_id(country: str) -> str:
    """The id for a country as somebody wrote it ("Northern Ireland", "WALES").

    Raises ``LawError`` naming the countries that are known.
    """
    plain = "-".join(country.casefold().replace("-", " ").split())
    if plain not in COUNTRIES:
        raise LawError(
            f"'{country[:60]}' is not a country with lines of its own here.",
            hint=f"Use one of: {', '.join(COUNTRIES)}.",
        )
    return plain
