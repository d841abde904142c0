"""Commands that measure: print the photo card, measure a find in a photo, advise on photos."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from simsearch.commands.common import PROBLEMS, JsonOption, Usage, say, say_json

if TYPE_CHECKING:
    from PIL import Image

    from simsearch.measure.model import Measurement
    from simsearch.measure.outline import FindsObjects

PhotoArgument = Annotated[Path, typer.Argument(metavar="PHOTO")]


def card(
    out: Annotated[Path, typer.Argument(metavar="OUT.pdf")],
    size: Annotated[
        str, typer.Option(help="a5 for finds up to 12 cm, a6 for small ones seen nearer.")
    ] = "a5",
) -> None:
    """Write the photo card to print: it gives a photo its scale.

    Print at 100 % ("actual size") and check the rule on it with a ruler.
    """
    from simsearch.files import replacing
    from simsearch.measure.card import photo_card

    content = photo_card(size)
    try:
        with replacing(out) as file:
            file.write(content)
    except OSError as error:
        raise Usage(
            f"'{out}' cannot be written ({error.strerror}).", hint="Choose another place."
        ) from error
    say(f"Photo card written: {out}")
    say("Print it at 100 % (actual size), then check with a ruler that its rule is 100 mm long.")


def measure(
    photo: PhotoArgument,
    two_points: Annotated[
        str | None,
        typer.Option(
            metavar="X1,Y1,X2,Y2",
            help="Without a card: two points in pixels, of a scale bar or across a coin.",
        ),
    ] = None,
    mm: Annotated[
        float | None, typer.Option("--mm", help="How many mm the two points lie apart.")
    ] = None,
    ends: Annotated[
        str | None,
        typer.Option(metavar="X1,Y1,X2,Y2", help="With --two-points: the two ends of the find."),
    ] = None,
    thickness: Annotated[
        float | None,
        typer.Option(metavar="MM", help="How thick the find is; makes the error smaller."),
    ] = None,
    rule: Annotated[
        float | None,
        typer.Option(metavar="MM", help="What the printed card's 100 mm rule really measures."),
    ] = None,
    squared: Annotated[
        Path | None, typer.Option(metavar="OUT.png", help="Write the card squared up, to look at.")
    ] = None,
    as_json: JsonOption = False,
) -> None:
    """Measure a find in a photo, on the photo card or with two points of known distance."""
    from simsearch.photo import open_photo

    picture = open_photo(photo)
    if two_points is None:
        if mm is not None or ends is not None:
            raise Usage("--mm and --ends go with --two-points.", hint="Give the two points too.")
        found = _on_card(picture, thickness, rule, squared)
    else:
        if thickness is not None or rule is not None or squared is not None:
            raise Usage(
                "--thickness, --rule and --squared go with the photo card.",
                hint="Leave them out, or leave out --two-points.",
            )
        found = _by_points(picture, two_points, mm, ends)
    if as_json:
        say_json(found.to_dict())
        return
    say(f"{photo}: {found.words()}")
    say(f"How: {found.how}.")
    for term in found.terms:
        say(f"  ± {term.mm:.2f} mm of the length: {term.words}")
    if squared is not None:
        say(f"Squared-up picture, {1 / found.mm_per_px:.1f} pixels per mm or less: {squared}")


def advice(
    photos: Annotated[list[Path], typer.Argument(metavar="PHOTO...")],
    as_json: JsonOption = False,
) -> None:
    """Say what to do better in photos before a search: blur, glare, size, light, scale.

    Ends with 1 when there is something to do better.
    """
    from simsearch.measure.advice import NOTE, advise
    from simsearch.photo import open_photo

    encoder = _encoder()
    told: list[dict[str, Any]] = []
    for path in photos:
        found = advise(open_photo(path), encoder)
        told.append({"photo": str(path), "advice": [one.to_dict() for one in found]})
        if as_json:
            continue
        say(f"{path}: " + ("nothing to do better." if not found else ""))
        for one in found:
            say(f"- {one.kind}: {one.words}")
    if as_json:
        say_json(told)
    else:
        say(NOTE)
    if any(one["kind"] != "no scale" for row in told for one in row["advice"]):
        raise typer.Exit(PROBLEMS)


def _on_card(
    picture: Image.Image, thickness: float | None, rule: float | None, squared: Path | None
) -> Measurement:
    from simsearch.measure.by_card import measure_on_card
    from simsearch.measure.find_card import find_card
    from simsearch.measure.squared import square_up

    view = find_card(picture)
    if squared is not None:
        # Before measuring: where that fails, the picture shows why.
        try:
            square_up(picture, view).picture.save(squared)
        except (OSError, ValueError) as error:
            raise Usage(
                f"'{squared}' cannot be written ({error}).", hint="Name a .png in a folder you own."
            ) from error
    return measure_on_card(
        picture, view=view, thickness_mm=thickness, rule_mm=rule, encoder=_encoder()
    )


def _by_points(
    picture: Image.Image, points: str, mm: float | None, ends: str | None
) -> Measurement:
    from simsearch.measure.two_points import measure_between, measure_outline, two_point_scale

    if mm is None:
        raise Usage("--two-points needs --mm.", hint="Say how many mm the points lie apart.")
    scale = two_point_scale(picture.size, *_points(points, "--two-points"), mm)
    if ends is not None:
        return measure_between(picture.size, scale, *_points(ends, "--ends"))
    return measure_outline(picture, scale, _encoder())


def _points(text: str, option: str) -> tuple[tuple[float, float], tuple[float, float]]:
    try:
        x1, y1, x2, y2 = (float(part) for part in text.split(","))
    except ValueError as error:
        raise Usage(
            f"{option} is '{text}', not two points.",
            hint="Give four numbers with commas between them: x1,y1,x2,y2 in pixels.",
        ) from error
    return (x1, y1), (x2, y2)


def _encoder() -> FindsObjects:
    """The built-in encoder, which also sees outlines."""
    from simsearch.encode.builtin import load

    return load()
