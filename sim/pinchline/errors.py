"""Errors a user meets: each says what is wrong, where, and what to change."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

_MAX_VALUE_LENGTH = 80


class PinchlineError(Exception):
    """Base of every error this package raises on purpose.

    Attributes
    ----------
    exit_code : code with which the command ends
    """

    exit_code: int = 1


class InputError(PinchlineError):
    """The input is wrong; ``str()`` is one paragraph that names the place.

    Parameters
    ----------
    message : what is wrong, without full stop
    file : the file that holds the fault
    key : the key in it, dotted, such as ``sheet.thickness``
    value : the value found there; tables and lists are shortened
    allowed : what would be accepted

    Examples
    --------
    >>> import pinchline as pl
    >>> try:
    ...     pl.Lift("26 mmm")
    ... except pl.InputError as error:
    ...     print(error.key, error.value, error.message, sep=" | ")
    move (lift): to | 26 mmm | mmm is not a unit of a length; did you mean mm?
    """

    exit_code = 2

    def __init__(
        self,
        message: str,
        *,
        file: str | Path | None = None,
        key: str | None = None,
        value: object = None,
        allowed: str | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.file = None if file is None else str(file)
        self.key = key
        self.value = value
        self.allowed = allowed

    def located(self, *, file: str | None = None, key: str | None = None) -> InputError:
        """Return the same error with the places filled in that it lacks."""
        return InputError(
            self.message,
            file=self.file or file,
            key=self.key or key,
            value=self.value,
            allowed=self.allowed,
        )

    def __str__(self) -> str:
        place = self.file or ""
        if self.key is not None:
            place += f"{': ' if place else ''}{self.key}"
        if self.value is not None:
            place += f"{' = ' if self.key else ': ' if place else ''}"
            place += shown(self.value)
        text = f"{place}: {self.message}" if place else self.message
        if self.allowed:
            stop = "" if text.endswith((".", "?")) else "."
            text = f"{text}{stop} Allowed: {self.allowed}"
        text = " ".join(text.split())
        text = "".join(c if c.isprintable() else "?" for c in text)
        return text if text.endswith((".", "?")) else f"{text}."


class StoppedError(PinchlineError):
    """A limit of the machine or the sheet ends the job."""

    exit_code = 3


class SolverError(PinchlineError):
    """The solver failed: where (move, step, node), why, and what to change.

    Parameters
    ----------
    message : the diagnosis in words
    diagnosis : its numbers by name
    result : the last good state, a ``Result``, or None
    """

    exit_code = 4

    def __init__(
        self,
        message: str,
        *,
        diagnosis: dict[str, object] | None = None,
        result: object | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.diagnosis = dict(diagnosis or {})
        self.result = result


def shown(value: object) -> str:
    """Return a value the way it stands in a TOML file, shortened to one line."""
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, bool):
        return str(value).lower()
    try:
        text = json.dumps(value, ensure_ascii=False)
    except (TypeError, ValueError):
        text = str(value)
    if len(text) > _MAX_VALUE_LENGTH:
        text = f"{text[: _MAX_VALUE_LENGTH - 3]}..."
    return text
