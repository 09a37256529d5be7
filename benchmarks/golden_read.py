"""What a job left in its folder, as numbers and words, and what differs between two.

Numbers are HDF5 datasets and attributes, with their units, and every number that stands
in a text: tables printed, CSV, cards and cases, the drawing, the data of the page, the
text of a PDF. Words are the rest of those texts. Left out: pictures, and what depends
on time, place or version (``LEFT_OUT``).
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, NamedTuple

import h5py
import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

# seconds of the solver; where a case was read; versions of programs; the hash of a
# study's text; HDF5's own marks
LEFT_OUT = frozenset(
    (
        "solver_seconds",
        "case_path",
        "versions",
        "digest",
        "CLASS",
        "NAME",
        "REFERENCE_LIST",
        "DIMENSION_LIST",
    )
)
UNITS = "@units"
TEXTS = frozenset((".txt", ".csv", ".toml"))
NUMBER = re.compile(r"(?:(?<![\w.])[-+])?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")
PAGE_DATA = re.compile(r'<script type="application/json"[^>]*>(.*?)</script>', re.S)
VERSION = re.compile(r"\b\d+\.\d+\.\d+(?:[.+-]\w+)*\b")


class Reading(NamedTuple):
    """Arrays and words by name: file, and dataset or attribute in it."""

    numbers: dict[str, np.ndarray]
    words: dict[str, str]

    def add_text(self, name: str, text: str) -> None:
        """Part a text into its numbers, as written, and its words."""
        text = VERSION.sub("", text)
        self.numbers[name] = np.array(NUMBER.findall(text), dtype=str)
        self.words[name] = " ".join(NUMBER.sub("#", text).split())


class Difference(NamedTuple):
    """Two readings of one item.

    count : numbers compared; missing, new : names on one side only; changed : names
    that differ; largest : relative difference, infinite where shapes differ;
    words : names whose words differ
    """

    count: int
    missing: list[str]
    new: list[str]
    changed: list[str]
    largest: float
    words: list[str]

    @property
    def equal(self) -> bool:
        """Whether all numbers are, to the last bit."""
        return not (self.missing or self.new or self.changed)


def read(folder: Path) -> Reading:
    """Read all that a job left in a folder."""
    reading = Reading({}, {})
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        name = path.relative_to(folder).as_posix()
        if path.suffix == ".h5":
            read_hdf5(path, name, reading)
        elif (text := text_of(path, folder)) is not None:
            reading.add_text(name, text)
    return reading


def text_of(path: Path, folder: Path) -> str | None:
    """Text of a file, None where it has none that counts; without the folder's path."""
    if path.suffix == ".pdf":
        import pypdf

        return "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)
    if path.suffix not in {*TEXTS, ".dxf", ".html"}:
        return None
    text = path.read_text(encoding="utf-8").replace(str(folder), "")
    if path.suffix == ".dxf":  # the head holds times and marks drawn by chance
        return text[text.index("\nENTITIES\n") : text.index("\nOBJECTS\n")]
    if path.suffix == ".html":
        found = PAGE_DATA.search(text)
        return found[1] if found else ""
    lines = text.splitlines()
    return "\n".join(one for one in lines if one.split(",")[0] not in LEFT_OUT)


def read_hdf5(path: Path, name: str, reading: Reading) -> None:
    """Read datasets and attributes of a file."""
    with h5py.File(path) as file:
        for key, value in hdf5_values(file):
            if key.endswith(UNITS):
                reading.numbers[f"{name}:{key}"] = np.array(_text(value[()]))
            elif value.dtype.kind in "OSU":
                lines = [_text(one) for one in np.atleast_1d(value).ravel()]
                reading.add_text(f"{name}:{key}", "\n".join(lines))
            else:
                reading.numbers[f"{name}:{key}"] = value


def hdf5_values(file: h5py.File) -> Iterator[tuple[str, np.ndarray]]:
    """Give every dataset and attribute of a file by its name."""
    found: list[tuple[str, h5py.HLObject]] = [("", file)]
    file.visititems(lambda key, item: found.append((key, item)))
    for key, item in found:
        if key.rpartition("/")[2] in LEFT_OUT:
            continue
        if isinstance(item, h5py.Dataset):
            yield key, np.asarray(item[()])
        for mark, value in item.attrs.items():
            if mark not in LEFT_OUT:
                yield f"{key}@{mark}", np.asarray(value)


def _text(value: object) -> str:
    return value.decode() if isinstance(value, bytes) else str(value)


def compare(before: Reading, after: Reading) -> Difference:
    """Put two readings side by side, to the last bit."""
    both = [name for name in before.numbers if name in after.numbers]
    changed = [
        name for name in both if not same(before.numbers[name], after.numbers[name])
    ]
    return Difference(
        count=sum(
            array.size
            for name, array in after.numbers.items()
            if not name.endswith(UNITS)
        ),
        missing=sorted(set(before.numbers) - set(after.numbers)),
        new=sorted(set(after.numbers) - set(before.numbers)),
        changed=changed,
        largest=max(
            (apart(before.numbers[name], after.numbers[name]) for name in changed),
            default=0.0,
        ),
        words=[
            name
            for name, text in before.words.items()
            if name in after.words and after.words[name] != text
        ],
    )


def same(one: np.ndarray, other: np.ndarray) -> bool:
    """Whether two arrays are equal to the last bit; signs of zero and NaN count."""
    if one.shape != other.shape:
        return False
    if one.dtype.kind == "U":
        return bool((one == other).all())
    return one.dtype == other.dtype and one.tobytes() == other.tobytes()


def apart(one: np.ndarray, other: np.ndarray) -> float:
    """Largest relative difference of two arrays; infinite for shapes or units."""
    if one.shape != other.shape:
        return np.inf
    if one.dtype.kind == "U" and not NUMBER.fullmatch(str(one.flat[0])):
        return np.inf  # units
    x, y = np.atleast_1d(one.astype(float)), np.atleast_1d(other.astype(float))
    with np.errstate(invalid="ignore", divide="ignore"):
        relative = np.abs(x - y) / np.maximum(np.abs(x), np.abs(y))
    relative[(x == y) | (np.isnan(x) & np.isnan(y))] = 0.0
    return float(np.nan_to_num(relative, nan=np.inf).max(initial=0.0))
