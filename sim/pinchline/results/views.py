"""How a result is shown: a table of functions that the layers above fill in.

A result offers pictures and a notebook view and must not import what draws them. The
top of the package puts functions here that load the drawing code when they are called.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from pinchline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable

    import xarray

# "html": result to HTML; "plot": result, name of a picture, options to figure and axes
VIEWS: dict[str, Callable[..., Any]] = {}


def as_dataset(
    variables: dict[str, Any], coordinates: dict[str, Any], title: str
) -> xarray.Dataset:
    """Labelled arrays as a dataset of xarray, which is imported only here.

    Parameters
    ----------
    variables, coordinates : name to (dimensions, values, attributes)
    title : attribute of the whole

    Raises
    ------
    InputError
        where xarray is not installed
    """
    if find_spec("xarray") is None:
        message = "datasets need xarray, which is not installed"
        raise InputError(message, allowed="pip install 'pinchline[xarray]'")
    import xarray

    return xarray.Dataset(variables, coordinates, {"title": title})
