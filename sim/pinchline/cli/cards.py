"""`cards` lists what is on file, prints one card, or makes one of a curve."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal, NamedTuple

import typer

from pinchline.cli.common import (
    InchFirst,
    app,
    exit_on_error,
    notify,
    option,
    output_option,
    parse_length,
    unit_system,
)
from pinchline.errors import InputError

if TYPE_CHECKING:
    from pinchline.case.metal.material import Material

Measured = Literal["engineering", "true"]
GrainDirection = Literal["L", "LT"]


@app.command()
def cards(
    name: Annotated[
        str | None,
        typer.Argument(help="The card or case to print.", show_default=False),
    ] = None,
    tensile: Annotated[
        Path | None,
        option("--from-tensile", help="Make a card of this CSV of strain and stress."),
    ] = None,
    exponent: Annotated[
        float | None,
        option(help="Make a card of the curve with this Ramberg-Osgood exponent."),
    ] = None,
    measure: Annotated[
        Measured | None, option(help="Of the CSV, where its header does not say.")
    ] = None,
    thickness: Annotated[
        str | None, option(help='Of the sheet, such as "1 mm".')
    ] = None,
    radius: Annotated[
        list[str] | None,
        option(help='Of the part, such as "80 mm"; twice for a range.'),
    ] = None,
    direction: Annotated[
        GrainDirection, typer.Option(help="Of the bending strain.")
    ] = "LT",
    output: Annotated[Path | None, output_option(help="Write the card, .toml.")] = None,
    *,
    keep_curve: Annotated[
        bool, typer.Option("--keep-curve", help="Let the card keep the whole curve.")
    ] = False,
    inch: InchFirst = False,
) -> None:
    """List what is on file, or print one card with its sources.

    With --from-tensile, or --radius for a card that has a curve, make a card of two
    straight lines for the bend at work, and say what they cost against the curve.
    """
    with exit_on_error(inch=inch):
        if tensile is None and exponent is None and not radius:
            lines = _card_list() if name is None else _card(name)
            typer.echo("\n".join(lines))
            return
        bend = _Bend(
            thickness=_needed_length("--thickness", thickness),
            radii=tuple(_needed_length("--radius", text) for text in radius or (None,)),
            direction=direction,
        )
        if output is not None:
            _check_card_path(output)
        _two_lines(name, tensile, exponent, measure, bend, output, keep_curve, inch)


class _Bend(NamedTuple):
    """What is bent: thickness and radii in mm, direction of the strain."""

    thickness: float
    radii: tuple[float, ...]
    direction: str


def _needed_length(key: str, text: str | None) -> float:
    """Read a length that two lines cannot be fitted without, in mm."""
    if text is None:
        from pinchline import units

        message = "is needed to fit two lines for a bend"
        allowed = units.allowed_text("length", "above 0")
        raise InputError(message, key=key, allowed=allowed)
    return parse_length(key, text)


def _check_card_path(path: Path) -> None:
    from pinchline.results.writer import check_writable

    if path.suffix.lower() != ".toml":
        message = "a card is a TOML file"
        raise InputError(message, file=path, allowed="a name that ends in .toml")
    check_writable(path)


def _two_lines(
    name: str | None,
    tensile: Path | None,
    exponent: float | None,
    measure: Measured | None,
    bend: _Bend,
    output: Path | None,
    keep: bool,  # noqa: FBT001 - as the command hands it on
    inch: bool,  # noqa: FBT001
) -> None:
    """Fit two lines, say what they cost, write the card."""
    from pinchline.analysis.material.bilinear import fit_bilinear
    from pinchline.reports.questions.bilinear import two_lines_card, two_lines_words
    from pinchline.results.writer import write_whole

    tested = None
    if tensile is not None:
        from pinchline.analysis.material.tensile import metal_of
        from pinchline.case.measured.tensile_test import read_tensile

        _only_one("--exponent", exponent)
        card = None if name is None else _material(name, bend)
        test = read_tensile(tensile, measure)
        tested = metal_of(test, card)
        metal, origin = tested.metal, f"tensile test {tensile.name}"
        metal = metal.model_copy(update={"direction": bend.direction})
    else:
        metal = _with_curve(name, exponent, bend)
        assert metal.curve is not None
        origin = f"curve of {metal.name}"
        if metal.curve.exponent is not None:
            origin += f", Ramberg-Osgood exponent {metal.curve.exponent:g}"
    bilinear = fit_bilinear(metal, bend.thickness, bend.radii)
    typer.echo(
        two_lines_words(metal, bilinear, bend.thickness, unit_system(inch=inch), tested)
    )
    if output is not None:
        text = two_lines_card(metal, bilinear, bend.thickness, origin, keep=keep)
        write_whole(output, text.encode())
        notify(f"The card is {output}.")


def _only_one(option: str, value: object) -> None:
    if value is not None:
        message = "is given beside --from-tensile, which has its own curve"
        raise InputError(message, key=option, value=value, allowed="one of the two")


def _material(name: str, bend: _Bend) -> "Material":
    from pinchline.case.metal.material import load_material

    return load_material(name, bend.direction, bend.thickness, where="")


def _with_curve(name: str | None, exponent: float | None, bend: _Bend) -> "Material":
    """Give the material of a card with its curve, or with that of an exponent."""
    from pinchline.case.fields import read
    from pinchline.case.metal.curve import Curve

    if name is None:
        message = "two lines need a curve to be fitted to"
        allowed = (
            "--from-tensile FILE.csv, or a card: pinchline cards CARD --radius ..."
        )
        raise InputError(message, key="--radius", allowed=allowed)
    metal = _material(name, bend)
    if exponent is not None:
        curve = read(Curve, {"exponent": exponent}, file=name, key="--exponent")
        return metal.model_copy(update={"curve": curve})
    if metal.curve is None:
        message = "the card has no curve"
        allowed = "a card with curve.exponent, or --exponent 11.5, or --from-tensile"
        raise InputError(message, key="--radius", value=name, allowed=allowed)
    return metal


def _card_list() -> list[str]:
    from pinchline import library

    lines: list[str] = []
    kinds: tuple[library.Kind, ...] = ("materials", "machines", "cases", "studies")
    for kind in kinds:
        lines += [kind]
        for name in library.names(kind):
            title = library.load(kind, name).get("title", "")
            lines += [f"  {name:<16}{title}"]
    return lines


def _card(name: str) -> list[str]:
    """Print a material with the source of every number; others as they stand on file.

    The remarks in machine and case files are their sources.
    """
    from pinchline import library

    if name in library.names("materials"):
        table = library.load("materials", name)
        title = f"{table.get('title', name)} ({name})"
        width = 34
        rows = [
            f"{key:<{width}}{value:<18}{source}".rstrip()
            for key, value, source in _numbers(table, "", {})
        ]
        return [title, "", f"{'number':<{width}}{'value':<18}source", *rows]
    files: tuple[library.Kind, ...] = ("machines", "cases", "studies")
    for kind in files:
        if name in library.names(kind):
            return library.fetch(kind, name).text.splitlines()
    known = [n for kind in ("materials", *files) for n in library.names(kind)]
    hint = library.did_you_mean(name, known)
    message = f"there is no card or case of that name{hint}"
    raise InputError(message, value=name, allowed=", ".join(known))


def _numbers(
    table: dict[str, Any], place: str, sources: dict[str, str]
) -> Iterator[tuple[str, str, str]]:
    """Go through a card: key, value and source of every entry."""
    sources = sources | table.get("sources", {})
    own = table.get("source", "")
    for key, value in table.items():
        if key in ("title", "sources", "source"):
            continue
        if isinstance(value, dict):
            yield from _numbers(value, f"{place}{key}.", sources)
        elif isinstance(value, list):
            for number, entry in enumerate(value, 1):
                yield from _numbers(entry, f"{place}{key} {number}.", sources)
        else:
            dotted = f"{place}{key}".split(".")
            tails = [".".join(dotted[i:]) for i in range(len(dotted))]
            known = (sources[tail] for tail in tails if tail in sources)
            yield f"{place}{key}", str(value), own or next(known, "")
