"""Statements about rights become licences of the list, or are refused with the reason.

The addresses are those of creativecommons.org, rightsstatements.org, opendatacommons.org and
spdx.org; which statements there are was checked from memory of those published vocabularies.
"""

from __future__ import annotations

import pytest

from simsearch.bring.licences import contradiction, judge, judge_all, judge_any
from simsearch.sets.licences import LICENCES


@pytest.mark.parametrize("licence", LICENCES.values(), ids=lambda licence: licence.id)
def test_every_licence_of_the_list_is_known_by_its_address_and_id(licence) -> None:
    assert judge(licence.url).licence == licence.id
    assert judge(licence.url.replace("https://", "http://")).licence == licence.id
    assert judge(licence.id).licence == licence.id


@pytest.mark.parametrize(
    ("statement", "licence"),
    [
        ("http://creativecommons.org/licenses/by/4.0/", "CC-BY-4.0"),
        ("https://www.creativecommons.org/licenses/by-sa/3.0", "CC-BY-SA-3.0"),
        ("https://creativecommons.org/licenses/by-sa/4.0/deed.en", "CC-BY-SA-4.0"),
        ("https://creativecommons.org/licenses/by/2.0/legalcode", "CC-BY-2.0"),
        ("//creativecommons.org/publicdomain/zero/1.0/deed.fr", "CC0-1.0"),
        ("http://creativecommons.org/publicdomain/mark/1.0/", "LicenseRef-PublicDomain"),
        ("https://spdx.org/licenses/CC-BY-4.0.html", "CC-BY-4.0"),
        ("CC BY-SA 4.0", "CC-BY-SA-4.0"),
        ("cc-by-sa-3.0", "CC-BY-SA-3.0"),
        ("CC BY 2.0", "CC-BY-2.0"),
        ("Creative Commons Attribution-Share Alike 4.0", "CC-BY-SA-4.0"),
        ("Creative Commons Attribution 4.0 International", "CC-BY-4.0"),
        ("Creative Commons Attribution-ShareAlike 3.0 Unported", "CC-BY-SA-3.0"),
        ("CC0", "CC0-1.0"),
        ("Public domain", "LicenseRef-PublicDomain"),
        ("pd", "LicenseRef-PublicDomain"),
    ],
)
def test_open_licences_are_accepted(statement: str, licence: str) -> None:
    assert judge(statement).licence == licence


@pytest.mark.parametrize(
    ("statement", "reason"),
    [
        ("http://creativecommons.org/licenses/by-nc/4.0/", "commercial"),
        ("http://creativecommons.org/licenses/by-nc-sa/3.0/", "commercial"),
        ("http://creativecommons.org/licenses/by-nd/4.0/", "changed copies"),
        ("CC BY-NC-ND 4.0", "commercial"),
        ("Creative Commons Attribution-NonCommercial-ShareAlike 4.0", "commercial"),
        ("Creative Commons Attribution-NoDerivatives 4.0", "changed copies"),
        ("http://creativecommons.org/licenses/by/3.0/de/", "national version"),
        ("CC BY-SA 3.0 de", "national version"),
        ("http://creativecommons.org/licenses/by/2.5/", "not on the list"),
        ("CC BY", "which version"),
        ("http://creativecommons.org.example.org/licenses/by/4.0/", "not an open licence"),
        ("http://example.org/?http://creativecommons.org/licenses/by/4.0/", "not an open licence"),
        ("https://example.org/terms", "not an open licence"),
        ("This is not in the public domain", "not an open licence"),
        ("GFDL", "not an open licence"),
        ("", "no licence is stated"),
        (None, "no licence is stated"),
        (["CC0"], "no licence is stated"),
    ],
)
def test_everything_else_is_refused_with_the_reason(statement: object, reason: str) -> None:
    verdict = judge(statement)
    assert verdict.licence == ""
    assert reason in verdict.reason


RIGHTS_STATEMENTS = (
    "InC", "InC-OW-EU", "InC-EDU", "InC-NC", "InC-RUU", "NoC-CR", "NoC-NC", "NoC-OKLR", "NoC-US",
    "CNE", "UND",
)  # fmt: skip


@pytest.mark.parametrize("name", RIGHTS_STATEMENTS)
def test_rights_statements_that_leave_a_doubt_or_a_condition_are_refused(name: str) -> None:
    verdict = judge(f"http://rightsstatements.org/vocab/{name}/1.0/")
    assert verdict.licence == "" and verdict.known
    assert "not an open licence" not in verdict.reason


def test_no_known_copyright_is_accepted_and_keeps_its_doubt() -> None:
    verdict = judge("http://rightsstatements.org/vocab/NKC/1.0/")
    assert verdict.licence == "LicenseRef-PublicDomain"
    assert "less than a certainty" in verdict.caveat


def test_several_statements_must_agree() -> None:
    by, zero = (f"http://creativecommons.org/{path}" for path in
                ("licenses/by/4.0/", "publicdomain/zero/1.0/"))  # fmt: skip
    assert judge_all([by, by]).licence == "CC-BY-4.0"
    assert "several licences" in judge_all([by, zero]).reason
    assert judge_all([by, "https://example.org/terms"]).licence == ""
    assert judge_any([by, "words of the house"]).licence == "CC-BY-4.0"
    assert "different ways" in judge_any([by, "CC0"]).reason
    assert "commercial" in judge_any([by, "CC BY-NC 4.0"]).reason


@pytest.mark.parametrize(
    "text", ["© A Club. All rights reserved.", "Non-commercial use only", "CC BY-NC"]
)
def test_a_credit_line_can_take_the_licence_back(text: str) -> None:
    assert contradiction(["fine", text])
    assert not contradiction(["© A Club (CC BY 4.0)"])
