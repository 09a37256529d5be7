"""Whether a change left every number as it was: jobs run by two trees, to the last bit.

    python benchmarks/golden.py                    # HEAD against the working tree
    python benchmarks/golden.py BEFORE             # a revision against the working tree
    python benchmarks/golden.py BEFORE AFTER       # two revisions
    python benchmarks/golden.py --cache FOLDER     # keeps what BEFORE gave, by commit
    python benchmarks/golden.py --kept             # the kept file against the tree here
    python benchmarks/golden.py --keep             # writes the kept file, golden.json

Runs, plans, limit tables, a fit, a scatter, studies and the verify table, all invented
(``golden_jobs.py``), are done by the command line of either tree, in two processes on
this machine; what they write and print is compared (``golden_read.py``). Ends with 1
where a number, a name of a dataset or a shape differs. Words may differ, and are
reported; with ``--words`` they fail as well. Kernels are compiled once for a source.
The kept file holds a digest of every array, which is compared to nine digits.
"""

from __future__ import annotations

import argparse
import fcntl
import json
import os
import shutil
import subprocess
import sys
import time
from collections import Counter
from contextlib import contextmanager
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import TYPE_CHECKING

from golden_jobs import JOBS
from golden_kept import digests, load, unlike, write
from golden_read import compare, read

if TYPE_CHECKING:
    from collections.abc import Iterator

    from golden_read import Difference

REPO = Path(__file__).parents[1]
WORKER = Path(__file__).with_name("golden_work.py")
KEPT = Path(__file__).with_name("golden.json")
PROCESSES = 2
SHOWN = 6  # names of what differs in an item


def git(*words: str) -> str:
    """Ask git in this repository."""
    done = subprocess.run(
        ("git", "-C", str(REPO), *words), check=True, capture_output=True, text=True
    )
    return done.stdout.strip()


@contextmanager
def alone(place: Path) -> Iterator[None]:
    """Wait until nobody else works on a place."""
    with place.with_suffix(".lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@contextmanager
def checked_out(commit: str, place: Path) -> Iterator[Path]:
    """Give a tree of a commit, removed again afterwards.

    The times of its files are the same every time, as its place is: numba looks at both
    before it takes a kernel that it has compiled already.
    """
    shutil.rmtree(place, ignore_errors=True)  # of one that was killed
    git("worktree", "prune")
    git("worktree", "add", "--detach", str(place), commit)
    try:
        for path in place.rglob("*.py"):
            os.utime(path, (1.0e9, 1.0e9))
        yield place
    finally:
        git("worktree", "remove", "--force", str(place))


def do_jobs(tree: Path, folder: Path) -> None:
    """Do all jobs by the command line of a tree, into a folder."""
    if not (tree / "sim" / "pinchline").is_dir():
        sys.exit(f"no package in {tree / 'sim'}")
    folder.mkdir(parents=True, exist_ok=True)
    told = folder / "jobs.json"
    told.write_text(json.dumps([job._asdict() for job in JOBS]), encoding="utf-8")
    surroundings = os.environ | {
        "PYTHONPATH": str(tree / "sim"),
        "COLUMNS": "200",
        "NO_COLOR": "1",
        "MPLBACKEND": "agg",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
    }
    words = (sys.executable, "-P", str(WORKER), str(told), str(folder))
    with (folder / "messages.log").open("wb") as log:
        workers = [
            subprocess.Popen(words, env=surroundings, stdout=log, stderr=log)
            for _ in range(PROCESSES)
        ]
        codes = [worker.wait() for worker in workers]
    if any(codes):
        message = (folder / "messages.log").read_text(encoding="utf-8")[-2000:]
        sys.exit(f"{message}\na job broke in {tree}")


def outputs(revision: str | None, folder: Path, cache: Path | None) -> Path:
    """Give the folder of what a revision gave; None is the tree here, or a folder."""
    if revision is None or Path(revision).is_dir():
        do_jobs(Path(revision or REPO).absolute(), folder)
        return folder
    commit = git("rev-parse", f"{revision}^{{commit}}")
    if cache is not None:
        jobs = sha256(repr(JOBS).encode()).hexdigest()[:12]
        folder = cache / f"{commit[:12]}-{jobs}"
    done = folder / "done"
    place = Path(gettempdir()) / f"golden-tree-{commit[:12]}"
    with alone(place):
        if not done.exists():
            shutil.rmtree(folder, ignore_errors=True)
            with checked_out(commit, place) as tree:
                do_jobs(tree, folder)
            done.touch()
    return folder


def line(name: str, found: Difference) -> str:
    """Say one item in a line, and what differs in a few more."""
    verdict = "equal" if found.equal else f"differs, by {found.largest:.1e} at most"
    words = f"; words differ in {len(found.words)}" if found.words else ""
    rows = [f"{name:14} {found.count:9,d} numbers  {verdict}{words}"]
    parts = (("missing", found.missing), ("new", found.new), ("changed", found.changed))
    return "\n".join(rows + [listed(title, names) for title, names in parts if names])


def listed(title: str, names: list[str]) -> str:
    """Name the first of what differs."""
    more = f" and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return f"    {title}: {', '.join(names[:SHOWN])}{more}"


def compare_trees(told: argparse.Namespace, folder: Path) -> bool:
    """Compare two trees to the last bit; gives whether they are equal."""
    equal = True
    before = outputs(
        told.before, folder / "before", told.cache and told.cache.absolute()
    )
    after = outputs(told.after, folder / "after", None)
    for job in JOBS:
        found = compare(read(before / job.name), read(after / job.name))
        equal &= found.equal and not (told.words and found.words)
        print(line(job.name, found), flush=True)
    return equal


def compare_kept(folder: Path) -> bool:
    """Compare the tree here with the kept file, to nine digits."""
    do_jobs(REPO, folder)
    kept = load(KEPT)
    now = {job.name: digests(read(folder / job.name)) for job in JOBS}
    equal = True
    for name in sorted(kept.keys() | now.keys()):
        names = unlike(kept.get(name, {}), now.get(name, {}))
        print(f"{name:14} {len(now.get(name, {})):5d} digests  ", end="")
        print(listed("differ", names).strip() if names else "equal to nine digits")
        equal &= not names
    return equal


def keep(folder: Path) -> None:
    """Write the kept file from the tree here."""
    do_jobs(REPO, folder)
    write(KEPT, {job.name: digests(read(folder / job.name)) for job in JOBS})


def asked() -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("before", nargs="?", default="HEAD", help="a revision")
    parser.add_argument("after", nargs="?", help="a revision or a tree; or this one")
    parser.add_argument("--cache", type=Path, help="folder that keeps BEFORE's outputs")
    parser.add_argument("--words", action="store_true", help="words must be equal too")
    parser.add_argument("--kept", action="store_true", help="compare with golden.json")
    parser.add_argument("--keep", action="store_true", help="write golden.json")
    return parser.parse_args()


def main() -> int:
    """Compare, and say it."""
    told = asked()
    start = time.perf_counter()
    with TemporaryDirectory() as name:
        folder = Path(name)
        if told.keep:
            keep(folder)
            return 0
        equal = compare_kept(folder) if told.kept else compare_trees(told, folder)
    kinds = Counter(job.kind for job in JOBS)
    what = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    seconds = time.perf_counter() - start
    print(f"{'equal' if equal else 'DIFFERENT'}: {what}; {seconds:.0f} s")
    return int(not equal)


if __name__ == "__main__":
    sys.exit(main())
