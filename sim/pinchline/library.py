"""Shipped cards and cases, and the user's own files in their place.

A name that ends in ``.toml`` or holds a separator is a path; any other name is one of
the shipped files.
"""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pinchline.errors import InputError

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

Kind = Literal["materials", "machines", "cases", "studies"]

_WORD: dict[Kind, str] = {
    "materials": "material card",
    "machines": "machine card",
    "cases": "case",
    "studies": "study",
}


@dataclass(frozen=True)
class SourceFile:
    """A file that was read: its short name, where it lies, its text."""

    name: str
    where: str
    text: str


def data_root(kind: Kind) -> Traversable:
    """Folder of shipped TOML files: inside the wheel, or the checkout's top level."""
    parts = ("cases", kind) if kind in ("machines", "studies") else (kind,)
    shipped: Traversable = files("pinchline")
    for part in parts:
        shipped = shipped / part
    if shipped.is_dir():
        return shipped
    checkout = Path(__file__).resolve().parents[2].joinpath(*parts)
    if checkout.is_dir():
        return checkout
    message = f"no {'/'.join(parts)} folder ships with this copy of pinchline"
    raise FileNotFoundError(message)


def names(kind: Kind) -> list[str]:
    """Names of the shipped files of one kind, sorted."""
    found = (entry.name for entry in data_root(kind).iterdir() if entry.is_file())
    return sorted(
        name.removesuffix(".toml") for name in found if name.endswith(".toml")
    )


def load(kind: Kind, name: str) -> dict[str, Any]:
    """Table of one shipped file."""
    source = fetch(kind, name)
    return parse_toml(source.text, source.where)


def is_path(source: str | Path) -> bool:
    """Tell a path from a shipped name."""
    if isinstance(source, Path):
        return True
    return source.endswith(".toml") or "/" in source or "\\" in source


def fetch(
    kind: Kind,
    source: str | Path,
    *,
    folder: Path | None = None,
    file: str | None = None,
    key: str | None = None,
) -> SourceFile:
    """Read a shipped file by name, or a user's file by path.

    Parameters
    ----------
    kind : what it must be
    source : name or path
    folder : where relative paths start; the working folder where None
    file, key : the file and key that ask for it, for the error

    Raises
    ------
    InputError
        where there is no such name or the file cannot be read
    """
    if is_path(source):
        path = Path(source)
        path = path if folder is None else folder / path
        return SourceFile(path.stem, str(path), read_text(path, source, file, key))
    name = str(source)
    known = names(kind)
    if name not in known:
        raise _unknown(kind, name, known, file, key)
    entry = data_root(kind) / f"{name}.toml"
    return SourceFile(name, str(entry), entry.read_text(encoding="utf-8"))


def parse_toml(text: str, where: str) -> dict[str, Any]:
    """Table of a TOML text; where it is none, an error that names the line."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        message = "the file is not valid TOML: nested too deeply"
    except ValueError as error:
        message = f"the file is not valid TOML: {error}"
    raise InputError(
        message, file=where, allowed='TOML text, such as thickness = "1.0 mm"'
    )


def did_you_mean(word: str, known: list[str], *, cutoff: float = 0.5) -> str:
    """Return ``; did you mean ...?`` for the nearest known words, or nothing."""
    lowered = {name.lower(): name for name in known}
    count = 3 if cutoff > 0.0 else 1
    close = difflib.get_close_matches(word.lower(), lowered, n=count, cutoff=cutoff)
    return f"; did you mean {' or '.join(lowered[c] for c in close)}?" if close else ""


def _unknown(
    kind: Kind, name: str, known: list[str], file: str | None, key: str | None
) -> InputError:
    message = f"there is no {_WORD[kind]} of that name"
    hint = did_you_mean(name, known)
    return InputError(
        f"{message}{hint}",
        file=file,
        key=key,
        value=name,
        allowed=f"{', '.join(known)}, or the path of a .toml file",
    )


def read_text(
    path: Path,
    source: str | Path,
    file: str | None,
    key: str | None,
    allowed: str = "a readable TOML file in UTF-8",
) -> str:
    """Text of a user's file.

    ``source`` is how ``key`` of ``file`` names it, for the error; ``allowed`` what it
    should be.
    """
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        reason = "there is no such file"
    except IsADirectoryError:
        reason = "it is a directory"
    except UnicodeDecodeError as error:
        reason = f"it is not UTF-8 text (byte {error.start})"
    except OSError as error:
        reason = error.strerror or "the system refuses"
    except ValueError:
        reason = "that is no path"
    if file is None:
        message = f"the file cannot be read: {reason}"
        raise InputError(message, file=path, allowed=allowed)
    message = f"the file {path} cannot be read: {reason}"
    raise InputError(message, file=file, key=key, value=str(source), allowed=allowed)
