"""The command ``law``: what the law asks where you are, and first aid for finds."""

from __future__ import annotations

from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.text import Text

from simsearch.commands.common import JsonOption, Usage, console, say, say_json

if TYPE_CHECKING:
    from simsearch.law import Rule


def law(
    country: Annotated[
        str | None,
        typer.Argument(
            metavar="[COUNTRY]",
            help="england, wales, scotland, northern-ireland, ireland or other; the one chosen "
            "without this.",
        ),
    ] = None,
    set_country: Annotated[
        bool, typer.Option("--set-country", help="Keep COUNTRY as the one chosen.")
    ] = False,
    material: Annotated[
        str | None,
        typer.Option("--material", help="First aid for a material, such as iron, instead."),
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Law by country and first aid by material, each line with its source. Not legal advice."""
    from simsearch.law import COUNTRIES
    from simsearch.law.choice import choose_country
    from simsearch.law.countries import rules
    from simsearch.law.first_aid import first_aid

    if set_country:
        if country is None:
            raise Usage("no country was named.", hint=f"Name one of: {', '.join(COUNTRIES)}.")
        kept = choose_country(country)
        if not as_json:
            say(f"{COUNTRIES[kept]} is kept as your country.")
    if material is not None:
        _tell(f"First aid: {material}", first_aid(material), as_json, {"material": material})
        return
    here = _country(country)
    _tell(f"Law: {COUNTRIES[here]}", rules(here), as_json, {"country": here})


def _country(country: str | None) -> str:
    from simsearch.law import COUNTRIES
    from simsearch.law.choice import chosen_country
    from simsearch.law.countries import country_id

    here = country_id(country) if country is not None else chosen_country()
    if here is None:
        raise Usage(
            "no country was chosen yet.",
            hint="Choose with: simsearch law COUNTRY --set-country. COUNTRY is one of "
            f"{', '.join(COUNTRIES)}.",
        )
    return here


def _tell(title: str, lines: tuple[Rule, ...], as_json: bool, about: dict[str, Any]) -> None:
    from simsearch.law import CHECK_CURRENT, NOT_ADVICE

    if as_json:
        told = {"lines": [asdict(line) for line in lines], "note": NOT_ADVICE}
        say_json({**about, "check": CHECK_CURRENT, **told})
        return
    out = console()
    out.print(Text(title, style="bold"))
    for topic, of_topic in groupby(lines, key=lambda line: line.topic):
        out.print(Text(f"\n{topic[0].upper()}{topic[1:]}", style="bold"))
        for line in of_topic:
            _line(line)
    say("")
    say(f"{NOT_ADVICE} {CHECK_CURRENT}")


def _line(line: Rule) -> None:
    never = "Never: " if line.never else ""
    say(f"- {never}{line.words}")
    if line.within:
        say(f"  To: {line.to_whom}. When: {line.within}.")
    where = f" {line.url}" if line.url else ""
    note = f" {line.note}" if line.note else ""
    say(f"  Source: {line.source} ({line.known}).{note}{where}")
