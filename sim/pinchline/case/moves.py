"""The moves of a programme, in the order the operator makes them."""

from typing import Annotated, Any, ClassVar, Literal, get_args

from pydantic import BeforeValidator, model_validator

from pinchline import units
from pinchline.case.fields import (
    Choice,
    Length,
    LengthOrZero,
    PythonRecord,
    Record,
    read,
    refuse,
)
from pinchline.errors import InputError
from pinchline.library import did_you_mean

Toward = Annotated[
    Literal["rear", "operator"], BeforeValidator(Choice(("rear", "operator")))
]


class Place(PythonRecord):
    """Lay the flat sheet in and close the nip.

    Attributes
    ----------
    at : point of the sheet on the nip line, from the operator's edge, mm

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Place("130 mm").at
    130.0
    """

    place: ClassVar[str] = "move (place): "
    kind: Literal["place"] = "place"
    at: Length


class Lift(PythonRecord):
    """Raise the rear roll with the sheet at rest.

    Attributes
    ----------
    to : lift along the slide from touch, mm

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Lift("1 in").to
    25.4
    """

    place: ClassVar[str] = "move (lift): "
    kind: Literal["lift"] = "lift"
    to: LengthOrZero


class Feed(PythonRecord):
    """Drive sheet through the nip.

    Attributes
    ----------
    toward : where the sheet goes
    by : length to feed, mm
    leave : or the length to leave between nip line and trailing edge, mm
    lift_to : lift at the end of the feed, reached linearly, mm; None keeps it

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Feed("rear", leave="18 mm").leave
    18.0
    """

    place: ClassVar[str] = "move (feed): "
    kind: Literal["feed"] = "feed"
    toward: Toward
    by: Length | None = None
    leave: LengthOrZero | None = None
    lift_to: LengthOrZero | None = None

    @model_validator(mode="after")
    def _one_length(self) -> "Feed":
        allowed = "one of by (a length to feed) and leave (a length to keep)"
        if self.by is not None and self.leave is not None:
            value = units.format(self.leave, "length")
            message = "both by and leave are given"
            refuse(message, key="leave", value=value, allowed=allowed)
        if self.by is None and self.leave is None:
            refuse("neither by nor leave is given", key="by", allowed=allowed)
        return self


class Lower(PythonRecord):
    """Lower the rear roll.

    Attributes
    ----------
    to : lift that remains, mm

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Lower("16.2 mm").to, pl.Lower().to
    (16.2, 0.0)
    """

    place: ClassVar[str] = "move (lower): "
    kind: Literal["lower"] = "lower"
    to: LengthOrZero = 0.0


class Release(PythonRecord):
    """Open the nip and set the sheet free.

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Release().kind
    'release'
    """

    place: ClassVar[str] = "move (release): "
    kind: Literal["release"] = "release"


class Turn(PythonRecord):
    """Take the sheet out and turn it end for end.

    Examples
    --------
    >>> import pinchline as pl
    >>> pl.Turn().kind
    'turn'
    """

    place: ClassVar[str] = "move (turn): "
    kind: Literal["turn"] = "turn"


Move = Place | Lift | Feed | Lower | Release | Turn

MOVE_TYPES: dict[str, type[Record]] = {
    kind.model_fields["kind"].default: kind for kind in get_args(Move)
}


def describe(move: Move) -> str:
    """Return the move in a few words."""
    if move.kind == "place":
        return f"place at {move.at:g} mm"
    if move.kind == "lift":
        return f"lift to {move.to:g} mm"
    if move.kind == "feed":
        how = (
            f"by {move.by:g} mm" if move.by is not None else f"leave {move.leave:g} mm"
        )
        carried = "" if move.lift_to is None else f", lift to {move.lift_to:g} mm"
        return f"feed toward {move.toward}, {how}{carried}"
    if move.kind == "lower":
        return f"lower to {move.to:g} mm"
    return move.kind


def move_key(number: int, kind: str) -> str:
    """Name a move in messages; numbers start at 1."""
    return f"move {number} ({kind})"


def read_moves(tables: list[dict[str, Any]], file: str) -> tuple[Move, ...]:
    """Build the moves of a case from its ``[[move]]`` tables."""
    moves: list[Any] = []
    for number, table in enumerate(tables, 1):
        kind = table.get("kind")
        model = MOVE_TYPES.get(kind) if isinstance(kind, str) else None
        if model is None or not isinstance(kind, str):
            hint = did_you_mean(kind, list(MOVE_TYPES)) if isinstance(kind, str) else ""
            missing = "is missing" if kind is None else f"no move of that kind{hint}"
            raise InputError(
                missing,
                file=file,
                key=f"move {number}: kind",
                value=kind,
                allowed=", ".join(f'"{name}"' for name in MOVE_TYPES),
            )
        key = f"{move_key(number, kind)}: "
        moves.append(read(model, table, file=file, key=key))
    return tuple(moves)
