"""From what a server says about rights to a licence that a reference set may carry.

Nothing is inferred: a statement counts when the whole of it is a licence address, an SPDX id or
a licence name. What is not on the list of ``simsearch.sets.licences`` is refused with the reason,
and so is everything that contradicts itself.

The addresses are those of Creative Commons, Open Data Commons, SPDX and rightsstatements.org.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from simsearch.bring.plain import one_line
from simsearch.sets.licences import LICENCES

PUBLIC_DOMAIN = "LicenseRef-PublicDomain"
NOT_STATED = "no licence is stated"
_NO_COMMERCE = "its licence does not allow commercial use"
_NO_CHANGES = "its licence does not allow changed copies"


@dataclass(frozen=True)
class Verdict:
    """``licence`` is an SPDX id, or empty with the ``reason``; ``caveat`` goes into the note."""

    licence: str
    reason: str = ""
    caveat: str = ""
    known: bool = True
    """Whether the statement could be read at all; only then can it contradict another."""


# The twelve statements of rightsstatements.org (version 1.0). Only one of them says that there
# is, as far as the holder could find out, no copyright and no other condition.
_RIGHTS_STATEMENTS = {
    "inc": "it is in copyright",
    "inc-ow-eu": "it is in copyright (an orphan work)",
    "inc-edu": "it is in copyright, open to educational use only",
    "inc-nc": "it is in copyright, open to non-commercial use only",
    "inc-ruu": "it is in copyright and the holder cannot be found",
    "noc-cr": "a contract restricts its use",
    "noc-nc": "its use is restricted to non-commercial purposes",
    "noc-oklr": "other laws restrict its use",
    "noc-us": "it is known to be out of copyright in the United States only",
    "cne": "nobody has looked into its copyright",
    "und": "its copyright could not be determined",
}
_NO_KNOWN_COPYRIGHT = "stated as 'no known copyright', which is less than a certainty"
_RIGHTS_URL = re.compile(r"rightsstatements\.org/(?:vocab|page|data)/([a-z-]+)/1\.0/?")
_CC_URL = re.compile(
    r"creativecommons\.org/licen[sc]es/(by(?:-[a-z]+)*|nc|nd|sa|nc-sa|nd-nc)/(\d\.\d)"
    r"(?:/(?!deed|legalcode)([a-z]{2,10}))?(?:/(?:deed|legalcode)(?:\.[a-z_-]+)?)?/?"
)
_CC0_URL = re.compile(r"creativecommons\.org/publicdomain/zero/1\.0(?:/(?:deed|legalcode).*)?/?")
_MARK_URL = re.compile(r"creativecommons\.org/publicdomain/mark/1\.0(?:/deed.*)?/?")
_OTHER_URLS = {
    "opendatacommons.org/licenses/pddl": "PDDL-1.0",
    "opendatacommons.org/licenses/pddl/1-0": "PDDL-1.0",
    "opendatacommons.org/licenses/pddl/1.0": "PDDL-1.0",
    "opensource.org/license/mit": "MIT",
    "opensource.org/licenses/mit": "MIT",
}
_SPDX_URL = re.compile(r"spdx\.org/licenses/([a-z0-9.-]+?)(?:\.html|\.json)?/?")
_WORDS = {
    "cc0": "CC0-1.0",
    "cc zero": "CC0-1.0",
    "cc0 1.0": "CC0-1.0",
    "cc zero 1.0": "CC0-1.0",
    "cc0 1.0 universal": "CC0-1.0",
    "creative commons zero": "CC0-1.0",
    "creative commons zero 1.0": "CC0-1.0",
    "creative commons cc0": "CC0-1.0",
    "creative commons cc0 1.0 universal": "CC0-1.0",
    "creative commons zero, public domain dedication": "CC0-1.0",
    "public domain": PUBLIC_DOMAIN,
    "pd": PUBLIC_DOMAIN,
    "public domain mark": PUBLIC_DOMAIN,
    "public domain mark 1.0": PUBLIC_DOMAIN,
    "pddl": "PDDL-1.0",
    "pddl 1.0": "PDDL-1.0",
    "mit": "MIT",
    "mit license": "MIT",
    "mit licence": "MIT",
}
_CC_WORDS = re.compile(
    r"(?:cc|creative commons)[ -]"
    r"(by|attribution)((?:[ -](?:sa|nc|nd|share ?alike|non ?commercial|no ?deriv(?:ative)?s?))*)"
    r"(?: licen[sc]e)?(?:[ -](\d\.\d))?(?: licen[sc]e)?(?:[ -](.+))?"
)
_GENERIC = ("international", "unported", "generic")
_CONTRADICTIONS = (
    (re.compile(r"\ball rights reserved\b", re.IGNORECASE), "all rights reserved"),
    (re.compile(r"\bnon[- ]?commercial\b", re.IGNORECASE), "non-commercial use only"),
    (re.compile(r"\bno[- ]?derivatives?\b", re.IGNORECASE), "no changed copies"),
    (re.compile(r"\bcc[ -]by(?:-[a-z]+)*-(?:nc|nd)\b", re.IGNORECASE), "a restricted licence"),
)


def judge(statement: object) -> Verdict:
    """What one statement allows. Anything but a non-empty text is no statement."""
    if not isinstance(statement, str) or not statement.strip():
        return Verdict("", NOT_STATED, known=False)
    text = one_line(statement, limit=300)
    address = re.sub(r"^(?:https?:)?//(?:www\.)?", "", text.lower())
    if address != text.lower():
        return _judge_address(re.split(r"[?#]", address)[0], text)
    return _judge_words(text)


def judge_all(statements: Iterable[object]) -> Verdict:
    """What several statements about one picture allow together.

    Each must be on the list, and all must be the same licence: which of two would hold for the
    picture is not ours to choose.
    """
    verdicts = [judge(statement) for statement in statements]
    stated = [verdict for verdict in verdicts if verdict.reason != NOT_STATED]
    if not stated:
        return Verdict("", NOT_STATED, known=False)
    return _agreed(stated, "several licences are stated")


def judge_any(statements: Iterable[object]) -> Verdict:
    """What several wordings of one statement allow: unreadable ones do not count.

    Those that can be read must agree.
    """
    verdicts = [judge(statement) for statement in statements]
    known = [verdict for verdict in verdicts if verdict.known]
    if not known:
        unread = [verdict for verdict in verdicts if verdict.reason != NOT_STATED]
        return unread[0] if unread else Verdict("", NOT_STATED, known=False)
    return _agreed(known, "its licence is stated in different ways")


def _agreed(verdicts: Sequence[Verdict], otherwise: str) -> Verdict:
    """The first refusal, else the one licence that all name; two of them are a refusal too."""
    for verdict in verdicts:
        if not verdict.licence:
            return verdict
    names = list(dict.fromkeys(verdict.licence for verdict in verdicts))
    if len(names) > 1:
        return Verdict("", f"{otherwise} ({' and '.join(names)})")
    return verdicts[0]


def contradiction(texts: Iterable[str]) -> str:
    """The reason to leave a picture out whose credit or conditions take the licence back."""
    for text in texts:
        for pattern, meaning in _CONTRADICTIONS:
            if pattern.search(text):
                return f"an open licence is stated, but also: {meaning}"
    return ""


def _judge_address(address: str, text: str) -> Verdict:
    bare = address.rstrip("/")
    if found := _CC_URL.fullmatch(address):
        return _creative_commons(*found.groups())
    if _CC0_URL.fullmatch(address):
        return Verdict("CC0-1.0")
    if _MARK_URL.fullmatch(address):
        return Verdict(PUBLIC_DOMAIN)
    if bare in _OTHER_URLS:
        return Verdict(_OTHER_URLS[bare])
    if found := _SPDX_URL.fullmatch(address):
        return _judge_words(found.group(1))
    if found := _RIGHTS_URL.fullmatch(address):
        if found.group(1) == "nkc":
            return Verdict(PUBLIC_DOMAIN, caveat=_NO_KNOWN_COPYRIGHT)
        if found.group(1) in _RIGHTS_STATEMENTS:
            return Verdict("", _RIGHTS_STATEMENTS[found.group(1)])
    return Verdict("", f"'{text}' is not an open licence known here", known=False)


def _judge_words(text: str) -> Verdict:
    for licence in LICENCES:
        if text.lower() == licence.lower():
            return Verdict(licence)
    words = " ".join(re.sub(r"[_()]", " ", text.lower()).split()).rstrip(".")
    plain = words.replace("-", " ")
    if plain in _WORDS or words in _WORDS:
        return Verdict(_WORDS.get(plain) or _WORDS[words])
    if found := _CC_WORDS.fullmatch(words):
        _, parts, version, rest = found.groups()
        kind = "by" + "".join(f"-{part}" for part in _parts(parts))
        country = "" if rest is None or rest in _GENERIC else rest
        if not version:
            return _creative_commons(kind, "", country) if not country else _unknown(text)
        return _creative_commons(kind, version, country)
    return _unknown(text)


def _unknown(text: str) -> Verdict:
    return Verdict("", f"'{text}' is not an open licence known here", known=False)


def _parts(words: str) -> list[str]:
    short = re.sub(r"share ?alike", "sa", words)
    short = re.sub(r"non ?commercial", "nc", short)
    short = re.sub(r"no ?deriv(?:ative)?s?", "nd", short)
    return re.findall(r"sa|nc|nd", short)


def _creative_commons(kind: str, version: str, country: str | None) -> Verdict:
    parts = kind.split("-")
    if "nc" in parts:
        return Verdict("", _NO_COMMERCE)
    if "nd" in parts:
        return Verdict("", _NO_CHANGES)
    if not version:
        return Verdict("", f"which version of CC {kind.upper()} holds is not stated")
    licence = f"CC-{kind.upper()}-{version}"
    if country:
        # A licence written for one country's law has an SPDX id, and terms, of its own.
        return Verdict("", f"the national version of {licence} ({country}) is not on the list")
    if licence not in LICENCES:
        return Verdict("", f"{licence} is not on the list of licences")
    return Verdict(licence)
