"""Reading the tables of law and care: every wrong entry is told at once, with where it stands."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

from simsearch.errors import SimsearchError

COUNTRIES: Mapping[str, str] = {
    "england": "England",
    "wales": "Wales",
    "scotland": "Scotland",
    "northern-ireland": "Northern Ireland",
    "ireland": "Ireland",
    "other": "another country",
}
"""Ids and what people read. Ireland is the state; Northern Ireland has law of its own."""
TOPICS = (
    "permission", "protected places", "reporting", "precious metal", "several objects",
    "prehistoric base metal", "significance", "human remains", "ammunition",
)  # fmt: skip
ANY = "any"
MATERIALS = (
    ANY, "copper alloy", "iron", "silver", "gold", "lead", "tin or pewter", "organic traces",
)  # fmt: skip
KINDS = ("do", "never")
READ, FROM_MEMORY = "read", "from memory"
CHECK_CURRENT = "Check the current text."
NOT_ADVICE = (
    "Reminders, not legal advice: the text in force, your finds officer and a conservator have "
    "the last word."
)
_FOLDER = Path(__file__).resolve().parent
_RULE_TEXTS = ("words", "to_whom", "within", "source")
_CARE_TEXTS = ("material", "kind", "words", "source")


class LawError(SimsearchError):
    """A table of law or care cannot be used, or a country is not known."""


@dataclass(frozen=True)
class LawSource:
    """A published text: ``read_on`` is the day it was read, as YYYY-MM-DD, or empty."""

    id: str
    citation: str
    url: str
    read_on: str
    basis: str
    note: str = ""


@dataclass(frozen=True)
class Rule:
    """One line: what is asked (``words``), of whom to ask or tell, and within how long.

    ``basis`` is "read" with the day in ``read_on``, or "from memory" with none. For first aid
    ``topic`` is the material, ``within`` empty and ``never`` tells a never-do.
    """

    topic: str
    words: str
    to_whom: str
    within: str
    source: str
    url: str
    read_on: str
    basis: str
    note: str = ""
    never: bool = False

    @property
    def known(self) -> str:
        """How the line is known: "read 2026-11-25" or "from memory"."""
        return f"read {self.read_on}" if self.basis == READ else FROM_MEMORY


@dataclass(frozen=True)
class Tables:
    """All lines: rules by country in file order, first aid by material."""

    rules: Mapping[str, tuple[Rule, ...]]
    care: Mapping[str, tuple[Rule, ...]]
    sources: Mapping[str, LawSource]


@lru_cache(maxsize=1)
def shipped() -> Tables:
    """The tables of this package, read once."""
    return read_tables(_FOLDER)


def read_tables(folder: Path) -> Tables:
    """Read ``sources.toml``, ``law.toml`` and ``care.toml`` of a folder.

    Raises ``LawError`` naming every entry that cannot be used, and every country that leaves a
    topic without an answer.
    """
    problems: list[str] = []
    sources = _sources(_toml(folder / "sources.toml"), problems)
    rules = _rules(_toml(folder / "law.toml"), sources, problems)
    care = _care(_toml(folder / "care.toml"), sources, problems)
    for country in COUNTRIES:
        for topic in TOPICS:
            if not any(rule.topic == topic for rule in rules[country]):
                problems.append(f"law.toml: {country} has no line on {topic}.")
    problems += [f"care.toml: no line on {name}." for name in MATERIALS if not care[name]]
    if problems:
        listed = "\n".join(f"- {problem}" for problem in problems)
        raise LawError(
            f"The tables of law and care in {folder} cannot be used:\n{listed}",
            hint="Correct the entries, or install simsearch again.",
        )
    return Tables(rules, care, sources)


def _toml(path: Path) -> dict[str, Any]:
    hint = "Put the file back, or install simsearch again."
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise LawError(f"{path} cannot be read ({error.strerror}).", hint=hint) from error
    except ValueError as error:  # not UTF-8, or not TOML
        raise LawError(f"{path} is not a TOML table ({error}).", hint=hint) from error


def _sources(document: dict[str, Any], problems: list[str]) -> dict[str, LawSource]:
    found = {}
    for name, entry in document.items():
        where = f"sources.toml, [{name}]"
        if not isinstance(entry, dict):
            problems.append(f"{where}: it is not a table.")
            continue
        texts = _texts(entry, ("citation", "basis"), where, problems)
        url, read_on, note = (str(entry.get(key, "")) for key in ("url", "read_on", "note"))
        if texts is None:
            continue
        if texts["basis"] not in (READ, FROM_MEMORY):
            problems.append(f"{where}: basis is '{texts['basis']}', not read or from memory.")
        if url and not url.startswith(("https://", "http://")):
            problems.append(f"{where}: '{url}' is not a web address.")
        if (texts["basis"] == READ) != _is_day(read_on):
            problems.append(f"{where}: give read_on (YYYY-MM-DD) if and only if it was read.")
        found[name] = LawSource(name, texts["citation"], url, read_on, texts["basis"], note)
    return found


def _rules(
    document: dict[str, Any], sources: Mapping[str, LawSource], problems: list[str]
) -> dict[str, tuple[Rule, ...]]:
    found: dict[str, list[Rule]] = {country: [] for country in COUNTRIES}
    for number, entry in enumerate(_entries(document, "rules", "law.toml", problems), start=1):
        where = f"law.toml, rule {number}"
        texts = _texts(entry, _RULE_TEXTS, where, problems)
        countries = _listed(entry, "countries", tuple(COUNTRIES), where, problems)
        topics = _listed(entry, "topics", TOPICS, where, problems)
        source = _source(texts, sources, where, problems)
        if texts is None or source is None:
            continue
        for topic in topics:
            rule = _rule(topic, texts, source, entry.get("from_memory") is True)
            for country in countries:
                found[country].append(rule)
    # In the order of the topics, so that every country reads alike.
    return {
        country: tuple(sorted(rules, key=lambda rule: TOPICS.index(rule.topic)))
        for country, rules in found.items()
    }


def _care(
    document: dict[str, Any], sources: Mapping[str, LawSource], problems: list[str]
) -> dict[str, tuple[Rule, ...]]:
    found: dict[str, list[Rule]] = {material: [] for material in MATERIALS}
    for number, entry in enumerate(_entries(document, "lines", "care.toml", problems), start=1):
        where = f"care.toml, line {number}"
        texts = _texts(entry, _CARE_TEXTS, where, problems)
        source = _source(texts, sources, where, problems)
        if texts is None or source is None:
            continue
        if texts["material"] not in MATERIALS or texts["kind"] not in KINDS:
            problems.append(
                f"{where}: material must be one of {', '.join(MATERIALS)}; kind do or never."
            )
            continue
        told = {**texts, "to_whom": "a conservator; your finds officer knows one", "within": ""}
        memory = entry.get("from_memory") is True
        never = texts["kind"] == "never"
        found[texts["material"]].append(_rule(texts["material"], told, source, memory, never))
    return {material: tuple(lines) for material, lines in found.items()}


def _rule(
    topic: str, texts: Mapping[str, str], source: LawSource, memory: bool, never: bool = False
) -> Rule:
    return Rule(
        topic=topic,
        words=texts["words"],
        to_whom=texts["to_whom"],
        within=texts["within"],
        source=source.citation,
        url=source.url,
        read_on="" if memory else source.read_on,
        basis=FROM_MEMORY if memory else source.basis,
        note=source.note,
        never=never,
    )


def _entries(
    document: dict[str, Any], name: str, file: str, problems: list[str]
) -> list[dict[str, Any]]:
    entries = document.get(name)
    if not isinstance(entries, list) or not all(isinstance(entry, dict) for entry in entries):
        problems.append(f"{file}: there are no [[{name}]].")
        return []
    return entries


def _texts(
    entry: Mapping[str, Any], names: Sequence[str], where: str, problems: list[str]
) -> dict[str, str] | None:
    missing = [n for n in names if not isinstance(entry.get(n), str) or not entry[n].strip()]
    if missing:
        problems.append(f"{where}: {', '.join(missing)} must be text that is not empty.")
        return None
    return {name: entry[name].strip() for name in names}


def _listed(
    entry: Mapping[str, Any], name: str, allowed: Sequence[str], where: str, problems: list[str]
) -> list[str]:
    given = entry.get(name)
    if not isinstance(given, list) or not given or any(item not in allowed for item in given):
        problems.append(f"{where}: {name} must be a list of: {', '.join(allowed)}.")
        return []
    return given


def _source(
    texts: Mapping[str, str] | None,
    sources: Mapping[str, LawSource],
    where: str,
    problems: list[str],
) -> LawSource | None:
    if texts is None:
        return None
    source = sources.get(texts["source"])
    if source is None:
        problems.append(f"{where}: there is no source '{texts['source']}' in sources.toml.")
    return source


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False
