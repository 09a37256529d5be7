"""The blank that goes into the bender."""

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, ClassVar

from pydantic import BeforeValidator, Field, model_validator

from pinchline import units
from pinchline.case.fields import (
    Choice,
    Curvature,
    Length,
    PythonRecord,
    Record,
    SignedLength,
    Words,
    read,
    refuse,
)
from pinchline.case.metal.material import Direction, Material, load_material
from pinchline.errors import InputError

_MATERIAL = (
    "a material card's name, the path of a .toml file, or a [sheet.material] table"
)


class _CardOrTable(Words):
    """Validator of a name or path, of a table that is read later, or of a material."""

    def __call__(self, value: object) -> Any:
        """Return the value, or refuse it."""
        return value if isinstance(value, dict | Material) else super().__call__(value)


class SheetTable(Record):
    """Keys of ``[sheet]``."""

    material: Annotated[
        str | dict[str, Any] | Material, BeforeValidator(_CardOrTable(_MATERIAL))
    ]
    direction: Annotated[Direction, BeforeValidator(Choice(("L", "LT")))]
    thickness: Length
    length: Length | None = None
    width: Length
    off_centre: SignedLength = 0.0
    curvature: Curvature | None = None
    radius: SignedLength | None = None

    @model_validator(mode="after")
    def _one_bend(self) -> "SheetTable":
        if self.curvature is not None and self.radius is not None:
            allowed = "curvature or radius, not both"
            value = units.format(self.radius, "length")
            refuse(
                "is given beside curvature", key="radius", value=value, allowed=allowed
            )
        if self.radius == 0.0:
            allowed = "a radius that is not zero; leave it out for flat sheet"
            refuse("is zero", key="radius", value="0 mm", allowed=allowed)
        return self


class Sheet(PythonRecord):
    """A blank; unit width is modelled, the width gives totals.

    In Python as in a file: ``Sheet(material="5052-H32", direction="LT",
    thickness="1 mm", length="260 mm", width="400 mm")``, with curvature or radius where
    it is bent already.

    Attributes
    ----------
    material : of its direction and thickness
    source : name or path of the material's card, or its table; None for a record
    thickness, length, width : mm; length along the feed
    off_centre : the sheet's middle from the middle of the rolls, mm, + to the right as
        the operator sees it
    curvature : natural curvature where the sheet is curved already, 1/mm

    Examples
    --------
    >>> import pinchline as pl
    >>> sheet = pl.Sheet(
    ...     material="5052-H32",
    ...     direction="LT",
    ...     thickness="1 mm",
    ...     length="260 mm",
    ...     width="400 mm",
    ... )
    >>> sheet.material.youngs_modulus > 6.0e4  # MPa
    True
    """

    place: ClassVar[str] = "sheet"
    origin: ClassVar[frozenset[str]] = frozenset({"source"})

    material: Material
    source: str | dict[str, Any] | None = Field(default=None, repr=False)
    thickness: Length
    length: Length
    width: Length
    off_centre: SignedLength = 0.0
    curvature: Curvature = 0.0

    @model_validator(mode="before")
    @classmethod
    def _from_card(cls, data: dict[str, Any]) -> dict[str, Any]:
        """Read the card of a material that is named, as a file does."""
        if isinstance(data.get("material"), Material):
            return data
        if isinstance(data.get("material"), Path):
            data = {**data, "material": data["material"].as_posix()}
        return _parts(data, "", None, converted=True)


def read_sheet(
    table: dict[str, Any], file: str, blank: Callable[[float], float] | None = None
) -> Sheet:
    """Build the sheet of a case from its ``[sheet]`` table and the material card.

    ``blank`` gives a length for a thickness (mm) where the table may leave it out.
    """
    return Sheet(**_parts(table, file, blank, converted=False))


def _parts(
    table: dict[str, Any],
    file: str,
    blank: Callable[[float], float] | None,
    *,
    converted: bool,
) -> dict[str, Any]:
    """Fields of a sheet from its table; ``converted`` accepts numbers without unit."""
    keys = read(SheetTable, table, file=file, key="sheet", converted=converted)
    length = keys.length
    if length is None:
        if blank is None:
            allowed = units.allowed_text("length", "above 0")
            message = "is missing"
            raise InputError(message, file=file, key="sheet.length", allowed=allowed)
        length = blank(keys.thickness)
    material = load_material(keys.material, keys.direction, keys.thickness, where=file)
    curvature = keys.curvature or 0.0
    if keys.radius is not None:
        curvature = 1.0 / keys.radius
    return {
        "material": material,
        "source": None if isinstance(keys.material, Material) else keys.material,
        "thickness": keys.thickness,
        "length": length,
        "width": keys.width,
        "off_centre": keys.off_centre,
        "curvature": curvature,
    }
