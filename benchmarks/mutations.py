"""Whether the checks would notice: the physics is broken on purpose, line by line.

Run ``python benchmarks/mutations.py`` from a checkout with the package installed; some
fifteen minutes. Every mutation changes one line in a copy of the package, compiles it
apart, runs ``pinchline verify`` and the tests that deal with
it, and prints which of them failed, as a Markdown table. Words choose mutations by
name: ``python benchmarks/mutations.py unload``. Ends with 1 where one goes unnoticed,
and with 2 where a line to be broken is not there, or tests fail that nothing broke.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

REPO = Path(__file__).parents[1]
COPIED = ("sim", "tests", "materials", "cases", "pyproject.toml")
LONGEST = 600  # s; the iterations are bounded, so nothing should hang
UNNOTICED, UNUSABLE = 1, 2
# the table in tests/README.md differs wherever any value does: too easy a catch
NOT_README = "not readme"


class Mutation(NamedTuple):
    """One line of the physics, what it becomes, and who should notice.

    ``old`` stands once in ``file`` (below ``sim/pinchline``); ``tests`` are names of
    files of ``tests`` without ``test_``.
    """

    name: str
    file: str
    old: str
    new: str
    tests: tuple[str, ...]


class Outcome(NamedTuple):
    """What ``pinchline verify`` and the tests said: checks and tests that failed."""

    checks: list[str]
    tests: list[str]


MUTATIONS = (
    Mutation(
        "plane strain: flow stress without 2/sqrt 3",
        "solvers/layers.py",
        "wide = 1.0 + constrained * (2.0 / math.sqrt(3.0) - 1.0)",
        "wide = 1.0",
        ("springback", "section"),
    ),
    Mutation(
        "plane strain: modulus without 1 - nu^2",
        "solvers/layers.py",
        "return material.youngs_modulus / (1.0 - material.poisson_ratio**2)",
        "return material.youngs_modulus",
        ("springback", "section"),
    ),
    Mutation(
        "plane strain: hardening without 4/3",
        "solvers/layers.py",
        "hard *= 1.0 + constrained / 3.0",
        "hard *= 1.0",
        ("section", "steady_span"),
    ),
    Mutation(
        "cladding as stiff as the core",
        "solvers/layers.py",
        "                clad.youngs_modulus,\n",
        "                material.youngs_modulus,\n",
        ("section",),
    ),
    Mutation(
        "von Mises: difference of stresses weighs 1, not 3/2",
        "physics/section.py",
        "wb = 1.5 * out[1, i] * out[1, i] * d_b * d_b",
        "wb = 1.0 * out[1, i] * out[1, i] * d_b * d_b",
        ("section",),
    ),
    Mutation(
        "back stress moves the wrong way",
        "physics/section.py",
        "history[2, i] += hk * g * a",
        "history[2, i] -= hk * g * a",
        ("section",),
    ),
    Mutation(
        "closed form forgets that it hardened",
        "physics/section.py",
        "            r += layers[HI, 0] * abs(flow)\n",
        "",
        ("springback", "section"),
    ),
    Mutation(
        "lost unload: a released element keeps its curvature",
        "solvers/stepped/equilibrium/commit.py",
        "bend = chain.curvature[e] - chain.moment[e] / beam.bending",
        "bend = chain.curvature[e]",
        ("springback", "elastic_plastic_beam"),
    ),
    Mutation(
        "unload of twice the moment",
        "solvers/stepped/equilibrium/commit.py",
        "bend = chain.curvature[e] - chain.moment[e] / beam.bending",
        "bend = chain.curvature[e] - 2.0 * chain.moment[e] / beam.bending",
        ("springback", "elastic_plastic_beam"),
    ),
    Mutation(
        "beam: the shear force turns a node the wrong way",
        "physics/beam.py",
        "turn = 0.5 * length * (n * shear - q * (1.0 + stretch))",
        "turn = 0.5 * length * (n * shear + q * (1.0 + stretch))",
        ("elastica",),
    ),
    Mutation(
        "beam: geometric stiffness of the rotation with the wrong sign",
        "physics/beam.py",
        "ktt -= 0.25 * length * (n * (1.0 + stretch) + q * shear)",
        "ktt += 0.25 * length * (n * (1.0 + stretch) + q * shear)",
        ("elastica",),
    ),
    Mutation(
        "beam: free arms lie mirrored",
        "physics/beam.py",
        "theta[e + 1] = theta[e] + curvature[e] * length",
        "theta[e + 1] = theta[e] - curvature[e] * length",
        ("rolling", "dossier"),
    ),
    Mutation(
        "contact along chords in place of arcs",
        "physics/contact.py",
        "lever = length * (4.0 - 3.0 * xi * xi) / 24.0",
        "lever = 0.0",
        ("soft_span", "rolling"),
    ),
    Mutation(
        "contact leaves the mean moment of an element, not that of its middle",
        "physics/contact.py",
        "lever = length * (4.0 - 3.0 * xi * xi) / 24.0",
        "lever = length * (3.0 - 3.0 * xi * xi) / 24.0",
        ("soft_span", "rolling"),
    ),
    Mutation(
        "contact: energy of the foundation doubled",
        "physics/contact.py",
        "energy += 0.5 * force * depth",
        "energy += force * depth",
        ("nip", "rolling", "dossier"),
    ),
    Mutation(
        "bulging on the outer side of the bend",
        "physics/contact.py",
        "part = beam.bulge * own / beam.length",
        "part = -beam.bulge * own / beam.length",
        ("nip", "continuum"),
    ),
    Mutation(
        "steady pass: pressure works on no bulge",
        "solvers/steady/bulge.py",
        "told[i, EXTRA] = ((after - before)",
        "told[i, EXTRA] = (0.0 * (after - before)",
        ("solver",),
    ),
    Mutation(
        "bulging as if the sheet were free across",
        "solvers/layers.py",
        "return nu / (1.0 - constrained * nu) * thickness**2 / 10.0",
        "return nu * thickness**2 / 10.0",
        ("nip", "continuum"),
    ),
    Mutation(
        "support: the clamp lets go once the play is taken up",
        "physics/support.py",
        "return preload + k * over, k,",
        "return k * over, k,",
        ("nip",),
    ),
    Mutation(
        "support: the lower roll gives toward the sheet",
        "solvers/supports.py",
        "table[LOWER, [support.GIVE_X, support.GIVE_Y]] = 0.0, -1.0",
        "table[LOWER, [support.GIVE_X, support.GIVE_Y]] = 0.0, 1.0",
        ("nip",),
    ),
    Mutation(
        "weight: an arm's moment with the wrong sign",
        "physics/weight.py",
        "right[base + 2] += g * (a * c - b * s)",
        "right[base + 2] -= g * (a * c - b * s)",
        ("weight",),
    ),
    Mutation(
        "wrap bound without half the thickness",
        "solvers/rolls.py",
        "return 1.0 / (machine.rolls.upper_radius + thickness / 2.0)",
        "return 1.0 / machine.rolls.upper_radius",
        ("rolling",),
    ),
    Mutation(
        "rear roll's slide leans the other way",
        "case/layout.py",
        "x = rear.distance - lift * cos(rear.slide_angle)",
        "x = rear.distance + lift * cos(rear.slide_angle)",
        ("rolling", "steady_span", "soft_span"),
    ),
    Mutation(
        "free part of straight elements in place of arcs",
        "parts/measure.py",
        "chord = length * np.sinc(0.5 * curvature * length / np.pi)",
        "chord = length * np.ones_like(curvature)",
        ("dossier",),
    ),
    Mutation(
        "straightedge laid the wrong way round on the far edge",
        "parts/measure.py",
        "theta[::-1] + math.pi, s[::-1]",
        "theta[::-1] + 0.5 * math.pi, s[::-1]",
        ("dossier",),
    ),
    Mutation(
        "narrow strip: 1 + nu^2 for 1 - nu^2",
        "physics/width.py",
        "half = 0.5 * (3.0 * (1.0 - poisson * poisson)) ** 0.25",
        "half = 0.5 * (3.0 * (1.0 + poisson * poisson)) ** 0.25",
        ("dossier",),
    ),
    Mutation(
        "shaft: bearings sink evenly, wherever the load",
        "physics/shaft.py",
        "sinking = 0.5 * (1.0 + x * y / half**2)",
        "sinking = 0.5 * (1.0 + 0.0 * x * y / half**2)",
        ("shaft",),
    ),
    Mutation(
        "units: a ksi of 992 psi",
        "units.py",
        '"ksi": 1000.0 * _PSI,',
        '"ksi": 992.0 * _PSI,',
        ("dossier",),
    ),
)


def copied(room: Path) -> Path:
    """Copy what the tests need into a folder of its own."""
    tree = room / "tree"
    shutil.rmtree(tree, ignore_errors=True)
    tree.mkdir()
    skip = shutil.ignore_patterns("__pycache__", "pictures", "*.h5")
    for name in COPIED:
        source = REPO / name
        if source.is_dir():
            shutil.copytree(source, tree / name, ignore=skip)
        else:
            shutil.copy(source, tree / name)
    return tree


def broken(tree: Path, mutation: Mutation) -> bool:
    """Break the line in the copy; False where it does not stand there once."""
    path = tree / "sim" / "pinchline" / mutation.file
    text = path.read_text(encoding="utf-8")
    if text.count(mutation.old) != 1:
        return False
    path.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")
    return True


def judged(tree: Path, room: Path, tests: tuple[str, ...]) -> Outcome:
    """Run ``pinchline verify`` and tests on a copy, compiled apart from the rest."""
    env = os.environ | {
        "PYTHONPATH": str(tree / "sim"),
        "XDG_CACHE_HOME": str(room / "cache"),
        "PYTHONDONTWRITEBYTECODE": "1",
    }

    def said(*words: str) -> str:
        try:
            done = subprocess.run(
                [sys.executable, *words],
                cwd=tree,
                env=env,
                capture_output=True,
                text=True,
                timeout=LONGEST,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return f"FAILED no end within {LONGEST} s"
        if done.returncode == 0:
            return ""
        return f"{done.stdout}\n{done.stderr}"

    text = said("-m", "pinchline", "verify")
    checks = re.findall(r"^FAILS.*  (\S.*)$", text, re.MULTILINE)
    if text and not checks:
        checks = [text.strip().splitlines()[-1]]
    files = [str(*tree.rglob(f"tests/**/test_{name}.py")) for name in tests]
    text = said("-m", "pytest", "-x", "-q", "-k", NOT_README, *files)
    names = re.findall(r"^(?:FAILED|ERROR) (?:\S*::)?(.+?)(?: - .*)?$", text, re.M)
    if text and not names:
        names = [text.strip().splitlines()[-1]]
    return Outcome(checks, names)


def row(mutation: Mutation, outcome: Outcome) -> str:
    """Return a row of the table."""
    checks = f"{len(outcome.checks)}" if outcome.checks else "none"
    if outcome.checks:
        checks += f", first: {outcome.checks[0]}"
    tests = ", ".join(f"`{name}`" for name in outcome.tests) or "none"
    cells = (mutation.name, f"`{mutation.file}`", checks, tests)
    return f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |"


def main() -> int:
    """Break, run, print; returns the exit code."""
    words = sys.argv[1:]
    chosen = [m for m in MUTATIONS if all(w in m.name for w in words)]
    survived = []
    with TemporaryDirectory() as folder:
        room = Path(folder)
        files = tuple(sorted({name for m in chosen for name in m.tests}))
        sound = judged(copied(room), room, files)
        if sound.checks or sound.tests:
            print(f"these fail already: {sound}", file=sys.stderr)
            return UNUSABLE
        print("| broken | in | checks of `verify` that fail | first test that fails |")
        print("| --- | --- | --- | --- |")
        for mutation in chosen:
            tree = copied(room)
            if not broken(tree, mutation):
                print(f"not once in its file: {mutation.old}", file=sys.stderr)
                return UNUSABLE
            outcome = judged(tree, room, mutation.tests)
            print(row(mutation, outcome), flush=True)
            if not outcome.checks and not outcome.tests:
                survived.append(mutation.name)
    print(f"\n{len(chosen) - len(survived)} of {len(chosen)} mutations were noticed.")
    for name in survived:
        print(f"unnoticed: {name}", file=sys.stderr)
    return UNNOTICED if survived else 0


if __name__ == "__main__":
    sys.exit(main())
