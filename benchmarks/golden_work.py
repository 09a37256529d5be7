"""One process of the golden comparison: does jobs by the command line of one tree.

    python -P benchmarks/golden_work.py JOBS.json FOLDER

What a command prints goes to a file beside what it writes. Jobs are done in this one
process, which imports and loads the kernels once; a job belongs to whoever makes its
folder first.
"""

from __future__ import annotations

import json
import os
import shlex
import sys
import time
from pathlib import Path
from typing import Any


def command(words: str, number: int) -> int:
    """Do one command here, its output in ``number-name.txt``; gives the exit code."""
    from pinchline.__main__ import main

    sys.argv = ["pinchline", *shlex.split(words)]
    sys.stdout.flush()
    with Path(f"{number}-{sys.argv[1]}.txt").open("wb") as out:
        os.dup2(out.fileno(), 1)
    try:
        main()
    except SystemExit as end:
        return int(end.code or 0)
    finally:
        sys.stdout.flush()
    return 0


def do(job: dict[str, Any], folder: Path) -> None:
    """Do the commands of a job in its folder, if nobody else does."""
    here = folder / job["name"]
    try:
        here.mkdir()
    except FileExistsError:
        return
    os.chdir(here)
    start = time.perf_counter()
    for name, text in job["files"].items():
        Path(name).write_text(text, encoding="utf-8")
    words = enumerate(job["commands"], 1)
    codes = [command(one, number) for number, one in words]
    Path("exit-codes.txt").write_text(" ".join(map(str, codes)), encoding="utf-8")
    Path("seconds.log").write_text(f"{time.perf_counter() - start:.1f}")


def work(jobs: Path, folder: Path) -> None:
    """Do what is left of the jobs."""
    for job in json.loads(jobs.read_text(encoding="utf-8")):
        do(job, folder)


if __name__ == "__main__":
    work(Path(sys.argv[1]), Path(sys.argv[2]))
