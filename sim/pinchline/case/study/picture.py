"""What a study draws of its results: pictures of panels, each one result over another.

A panel over one coordinate has a line for every value of another; over two it is a map.
"""

from typing import Annotated, Any

from pydantic import BeforeValidator, Field, model_validator

from pinchline.case.fields import Record, SubTable, Text, YesNo, refuse
from pinchline.case.study.values import Label, Names, Plain

FileName = Annotated[
    str,
    BeforeValidator(
        Plain("a name of letters, digits, _ and -, such as radius", r"[A-Za-z][\w-]*")
    ),
]
_AXIS_NAMES = Names('a coordinate, such as "lift", or two: ["lift", "thickness"]', 1, 2)


class Panel(Record):
    """One panel.

    Attributes
    ----------
    show : the result
    over : one coordinate, or two for a map
    lines : a coordinate with a line for every value
    least : coordinates over which the smallest value is sought, where nothing failed
    at : values of the other coordinates; where it tells none, the middle one
    log : whether the result is drawn by factors; None does so over a wide range
    """

    show: Text
    over: Annotated[list[str], BeforeValidator(_AXIS_NAMES)]
    lines: Label | None = None
    least: Annotated[
        list[str], BeforeValidator(Names('a list of coordinates: ["lift"]'))
    ] = Field(default_factory=list)
    at: Annotated[
        dict[str, Any],
        BeforeValidator(SubTable('a table such as { thickness = "1 mm" }')),
    ] = Field(default_factory=dict)
    log: YesNo | None = None

    @model_validator(mode="after")
    def _map_has_no_lines(self) -> "Panel":
        if self.lines is not None and len(self.over) == 2:
            allowed = "lines with one coordinate in over"
            refuse(
                "stands beside a map", key="lines", value=self.lines, allowed=allowed
            )
        return self


class Picture(Record):
    """One picture: the name of its file, what stands above it, its panels."""

    name: FileName
    title: Text | None = None
    panel: list[Panel] = Field(min_length=1)
