"""The file of a study while it grows: killed at any moment, it keeps what it has.

Everything but the numbers is written when the file is made, each dataset as one block
of its final size. A finished chunk goes into its place and is flushed before its points
are marked as done, so a kill at worst leaves numbers that are not marked. The order in
which chunks arrive leaves no trace: a study that was cut off and resumed gives the same
bytes as one that was not.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import numpy as np

from pinchline.errors import InputError
from pinchline.results.study_schema import (
    DONE,
    EVENT,
    EVENT_BYTES,
    MESSAGE,
    MESSAGE_BYTES,
    SCHEMA_VERSION,
    STUDY_SCHEMA,
    Variable,
)
from pinchline.results.writer import check_writable, hdf5_text, partial_path

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Mapping, Sequence
    from types import TracebackType

    import h5py
    from filelock import BaseFileLock
    from numpy.typing import NDArray

_IDENTITY_KEYS = ("study", "case", "digest", "versions")


class StudyFile:
    """The file of a running study, held by this process alone.

    Parameters
    ----------
    path : of the file
    about : attributes of the root; those of the file must agree where it is resumed
    dimensions : name to length
    coordinates : with their values
    results : whose values are to come (their ``values`` are not looked at)
    resume : go on with a file that is there
    anew : replace a file that is there

    Raises
    ------
    InputError
        The file cannot be written, another study holds it, it is there already, or it
        is of another study.
    """

    def __init__(
        self,
        path: Path,
        about: Mapping[str, str],
        dimensions: Mapping[str, int],
        coordinates: Sequence[Variable],
        results: Sequence[Variable],
        *,
        resume: bool = False,
        anew: bool = False,
    ) -> None:
        import h5py

        self.path = check_writable(path)
        self.names = tuple(variable.name for variable in results)
        self.lock = _locked(self.path, path)
        try:
            fresh = not self.path.exists() or self.path.stat().st_size == 0
            if fresh or anew:
                self._make(about, dimensions, coordinates, results)
            elif not resume:
                _refuse(
                    "the file is there already",
                    path,
                    "another file name, --resume to go on with it, or --anew",
                )
            # HDF5's own lock would meet ours, and shut out who looks at a running study
            self.file = h5py.File(self.path, "r+", locking=False)
            self._check(about, path)
        except OSError as error:
            _unlock(self.lock)
            message = f"the file cannot be used: {str(error).splitlines()[0]}"
            _refuse(message, path, "a file that `pinchline study` made, or --anew")
        except BaseException:
            _unlock(self.lock)
            raise
        self.count = int(np.prod(list(dimensions.values())))

    def __enter__(self) -> StudyFile:
        """Hold the file."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file and let it go."""
        self.file.close()
        _unlock(self.lock)

    def missing(self) -> NDArray[np.int64]:
        """Points that are not computed, in order."""
        return np.flatnonzero(self.file[DONE][...].ravel() == 0)

    def write(
        self,
        points: NDArray[np.int64],
        values: NDArray[np.float64],
        events: Sequence[tuple[str, str]],
    ) -> None:
        """Put rows into their places, then mark them as done.

        Parameters
        ----------
        points : (n) which
        values : (n, results)
        events : (n) event and message of each
        """
        self._assign(EVENT, points, _bytes((e for e, _ in events), EVENT_BYTES))
        self._assign(MESSAGE, points, _bytes((m for _, m in events), MESSAGE_BYTES))
        for column, name in enumerate(self.names):
            self._assign(name, points, values[:, column])
        self.file.flush()
        self._assign(DONE, points, np.ones(points.size, dtype="i1"))
        self.file.flush()

    def _assign(
        self, name: str, points: NDArray[np.int64], values: NDArray[Any]
    ) -> None:
        """Write values at points, one stretch of neighbours after another."""
        dataset = self.file[name]
        shape = dataset.shape
        cuts = np.flatnonzero(np.diff(points) != 1) + 1
        for run in np.split(np.arange(points.size), cuts):
            for piece in _rows(int(points[run[0]]), run.size, shape):
                places, start, size = piece
                dataset[places] = values[run[0] + start : run[0] + start + size]

    def _check(self, about: Mapping[str, str], path: Path) -> None:
        """Refuse a file that is no study, or of another one."""
        if self.file.attrs.get("schema") != STUDY_SCHEMA:
            _refuse("the file is no study", path, "a file of `pinchline study`")
        words = {
            "study": "the study has changed since",
            "case": "the case has changed since",
            "digest": "a card, or what the model takes by default, has changed since",
            "versions": "the file was begun by other versions of pinchline or numpy",
        }
        for name in _IDENTITY_KEYS:
            if self.file.attrs.get(name) != about[name]:
                allowed = "the study as it was, another file name, or --anew"
                _refuse(words[name], path, allowed)

    def _make(
        self,
        about: Mapping[str, str],
        dimensions: Mapping[str, int],
        coordinates: Sequence[Variable],
        results: Sequence[Variable],
    ) -> None:
        """Put a file without results under the name, whole."""
        import h5py

        partial = partial_path(self.path)
        try:
            with h5py.File(partial, "w", locking=False) as file:
                _lay_out(file, about, dimensions, coordinates, results)
            partial.replace(self.path)
        except BaseException:
            partial.unlink(missing_ok=True)
            raise


def _rows(
    start: int, size: int, shape: tuple[int, ...]
) -> Iterator[tuple[tuple[Any, ...], int, int]]:
    """Cut a stretch of points into pieces along the last dimension."""
    last = shape[-1]
    done = 0
    while done < size:
        at = start + done
        place = np.unravel_index(at, shape)
        piece = min(last - int(place[-1]), size - done)
        low = int(place[-1])
        yield (*(int(p) for p in place[:-1]), slice(low, low + piece)), done, piece
        done += piece


def _bytes(words: Iterable[str], size: int) -> NDArray[Any]:
    """Words as bytes of a fixed size: a longer one is cut, never in a character."""
    cut = [
        " ".join(word.replace("\0", " ").split())
        .encode("utf-8", "replace")[:size]
        .decode("utf-8", "ignore")
        .encode("utf-8")
        for word in words
    ]
    return np.array(cut, dtype=f"S{size}")


def _refuse(message: str, path: Path, allowed: str) -> NoReturn:
    raise InputError(message, file=path, allowed=allowed) from None


def _locked(target: Path, path: Path) -> BaseFileLock:
    """Hold a file by one beside it, ``.name.lock``; a kill lets it go."""
    from filelock import FileLock, Timeout

    lock = FileLock(target.with_name(f".{target.name}.lock"))
    try:
        lock.acquire(timeout=0)
        if Path(lock.lock_file).exists():
            return lock
        lock.release()  # of a study that ended meanwhile and took the name away
    except Timeout:
        pass
    except OSError as error:
        message = f"the output cannot be written: {error.strerror}"
        raise InputError(message, file=path, allowed="a file name") from None
    message = "another study writes this file at the moment"
    allowed = "another file name, or the end of that study"
    raise InputError(message, file=path, allowed=allowed)


def _unlock(lock: BaseFileLock) -> None:
    """Let a file go and take the one beside it away."""
    with suppress(OSError):  # Windows takes no open file away
        Path(lock.lock_file).unlink()
    lock.release()


def _lay_out(
    file: h5py.File,
    about: Mapping[str, str],
    dimensions: Mapping[str, int],
    coordinates: Sequence[Variable],
    results: Sequence[Variable],
) -> None:
    """Make every dataset in its final size: results NaN, no point done."""
    file.attrs["schema"] = STUDY_SCHEMA
    file.attrs["schema_version"] = SCHEMA_VERSION
    for name, text in about.items():
        file.attrs[name] = hdf5_text(text)
    aside = [c.name for c in coordinates if (c.name,) != c.dimensions]
    if aside:
        file.attrs["coordinates"] = " ".join(aside)
    scales = {}
    held = {c.name: c for c in coordinates}
    for name, size in dimensions.items():
        own = held.get(name)
        if own is None:
            own = Variable(name, "1", "number, from 0", (name,), np.arange(size))
        scales[name] = _dataset(file, own)
        scales[name].make_scale(name)
    shape = tuple(dimensions.values())
    names = tuple(dimensions)
    shapes = {
        DONE: ("1 where the point is computed", "i1"),
        EVENT: ("what failed or stopped the point", f"S{EVENT_BYTES}"),
        MESSAGE: ("the same in words", f"S{MESSAGE_BYTES}"),
    }
    marks = [
        Variable(name, "1", words, names, np.zeros(shape, kind))
        for name, (words, kind) in shapes.items()
    ]
    others = [c for c in coordinates if c.name not in dimensions]
    nothing = np.full(shape, np.nan)
    empty = [replace(r, dimensions=names, values=nothing) for r in results]
    for variable in (*others, *empty, *marks):
        dataset = _dataset(file, variable)
        for axis, dimension in enumerate(variable.dimensions):
            dataset.dims[axis].attach_scale(scales[dimension])


def _dataset(file: h5py.File, variable: Variable) -> h5py.Dataset:
    """Write a variable as one block."""
    import h5py

    dtype = h5py.string_dtype() if variable.words else None
    values = variable.values
    if variable.words:
        values = np.array([_word(value) for value in values], dtype=object)
    dataset = file.create_dataset(variable.name, data=values, dtype=dtype)
    if values.dtype.kind == "S":
        dataset.attrs["_Encoding"] = "utf-8"  # xarray then gives text, not bytes
    dataset.attrs["units"] = variable.units or "1"
    dataset.attrs["long_name"] = variable.long_name
    if variable.key:
        dataset.attrs["key"] = variable.key
        dataset.attrs["spacing"] = "log" if variable.log else "even"
    return dataset


def _word(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else hdf5_text(str(value))
