"""Whether a change left every number as it was: jobs run by two trees, to the last bit.

    python benchmarks/golden.py                    # HEAD against the working tree
    python benchmarks/golden.py BEFORE             # a revision against the working tree
    python benchmarks/golden.py BEFORE AFTER       # two revisions
    python benchmarks/golden.py --cache FOLDER     # keeps what BEFORE gave, by commit

Runs, plans, limit tables, a fit, a scatter, studies and the verify table, all invented
(``golden_jobs.py``), are done by the command line of either tree, in two processes on
this machine; what they write and print is compared (``golden_read.py``). Ends with 1
where a number, a name of a dataset or a shape differs. Words may differ, and are
reported; with ``--words`` they fail as well. Kernels are compiled once for a source.
"""

from __future__ import annotations

import argparse
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
from golden_read import compare, read

if TYPE_CHECKING:
    from collections.abc import Iterator

    from golden_read import Difference

REPO = Path(__file__).parents[1]
WORKER = Path(__file__).with_name("golden_work.py")
PROCESSES = 2


def git(*words: str) -> str:
    """Ask git in this repository."""
    done = subprocess.run(
        ("git", "-C", str(REPO), *words), check=True, capture_output=True, text=True
    )
    return done.stdout.strip()


@contextmanager
def checked_out(commit: str) -> Iterator[Path]:
    """Give a tree of a commit, in a place of its own that is removed again.

    The place and the times of its files are the same every time: numba looks at both
    before it takes a kernel that it has compiled already.
    """
    place = Path(gettempdir()) / f"golden-tree-{commit[:12]}"
    git("worktree", "add", "--force", "--detach", str(place), commit)
    try:
        for path in place.rglob("*.py"):
            os.utime(path, (1.0e9, 1.0e9))
        yield place
    finally:
        git("worktree", "remove", "--force", str(place))


def do_jobs(tree: Path, folder: Path) -> None:
    """Do all jobs by the command line of a tree, into a folder."""
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
        jobs = sha256(repr(JOBS).encode() + WORKER.read_bytes()).hexdigest()[:12]
        folder = cache / f"{commit[:12]}-{jobs}"
    done = folder / "done"
    if not done.exists():
        shutil.rmtree(folder, ignore_errors=True)
        with checked_out(commit) as tree:
            do_jobs(tree, folder)
        done.touch()
    return folder


def line(name: str, found: Difference) -> str:
    """Say one item in a line, and what differs in a few more."""
    verdict = "equal" if found.equal else f"differs, by {found.largest:.1e} at most"
    words = f"; words differ in {len(found.words)}" if found.words else ""
    rows = [f"{name:14} {found.count:9,d} numbers  {verdict}{words}"]
    parts = (("missing", found.missing), ("new", found.new), ("changed", found.changed))
    for title, names in parts:
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        rows += [f"    {title}: {', '.join(names[:6])}{more}"] if names else []
    return "\n".join(rows)


def main() -> int:
    """Compare, and say it."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n\n")[0])
    parser.add_argument("before", nargs="?", default="HEAD", help="a revision")
    parser.add_argument("after", nargs="?", help="a revision or a tree; or this one")
    parser.add_argument("--cache", type=Path, help="folder that keeps BEFORE's outputs")
    parser.add_argument("--words", action="store_true", help="words must be equal too")
    told = parser.parse_args()
    start = time.perf_counter()
    failed = False
    with TemporaryDirectory() as folder:
        cache = told.cache and told.cache.absolute()
        before = outputs(told.before, Path(folder) / "before", cache)
        after = outputs(told.after, Path(folder) / "after", None)
        for job in JOBS:
            found = compare(read(before / job.name), read(after / job.name))
            failed |= not found.equal or (told.words and bool(found.words))
            print(line(job.name, found), flush=True)
    kinds = Counter(job.kind for job in JOBS)
    what = ", ".join(f"{count} {kind}" for kind, count in kinds.items())
    seconds = time.perf_counter() - start
    print(f"{'DIFFERENT' if failed else 'equal'}: {what}; {seconds:.0f} s")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main())
