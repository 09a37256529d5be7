"""The jobs of the golden comparison: what is put to the command line, small on purpose.

Every job is invented. It is told in the words of the command line and of case files
only, so that it outlives whatever moves inside the package.
"""

from __future__ import annotations

from typing import NamedTuple


class Job(NamedTuple):
    """One item: a name, input files by name, and commands done in one folder.

    ``kind`` is what it counts as in the closing line.
    """

    kind: str
    name: str
    files: dict[str, str]
    commands: tuple[str, ...]


def place(at: float) -> str:
    """Say where the sheet is laid in, mm."""
    return f'{{kind = "place", at = "{at} mm"}}'


def lift(to: float) -> str:
    """Say how high the rear roll is raised, mm."""
    return f'{{kind = "lift", to = "{to} mm"}}'


def feed(toward: str, **keys: float) -> str:
    """Say a feed; lengths in mm."""
    more = "".join(f', {key} = "{value} mm"' for key, value in keys.items())
    return f'{{kind = "feed", toward = "{toward}"{more}}}'


LOWER, TURN, RELEASE = (f'{{kind = "{kind}"}}' for kind in ("lower", "turn", "release"))
OUT = (LOWER, RELEASE)
FORWARD = (place(55), lift(26), feed("rear", leave=12), *OUT)
REVERSE = (place(40), lift(16), feed("operator", leave=20), *OUT)
CASE = """\
title = "{title} (invented)"
{moves}
[sheet]
material = {material}
direction = "{direction}"
thickness = "{thickness}"
length = "{length}"
width = "{width}"
{sheet}
[machine]
use = "{machine}"
{more}
"""
ELEMENT = '[model]\nelement = "0.5 mm"\n'


def case(title: str, moves: tuple[str, ...], more: str = ELEMENT, **keys: str) -> str:
    """Write a case; what is not told is 120 mm of 1 mm 5052-H32 on bench-60."""
    told = {
        "material": '"5052-H32"',
        "direction": "LT",
        "thickness": "1 mm",
        "length": "120 mm",
        "width": "400 mm",
        "sheet": "",
        "machine": "bench-60",
    } | keys
    rows = "".join(f"  {move},\n" for move in moves)
    text = f"move = [\n{rows}]\n" if moves else ""
    return CASE.format(title=title, moves=text, more=more, **told)


def roll(name: str, text: str, *, inch: bool = False) -> Job:
    """Run a case of one's own."""
    units = " --inch" if inch else ""
    return Job("case", name, {f"{name}.toml": text}, (f"run {name}.toml{units}",))


GIVING = '[machine.nip]\nclamp = "6 N/mm"\nstiffness = "150 N/mm/mm"\nplay = "0.1 mm"\n'
GAUGES = """\
[measure]
straightedge_gap = "0.2 mm"
gauge_operator = "5 mm"
gauge_rear = "110 mm"
zone_from = "30 mm"
zone_to = "60 mm"
"""
REAR = '[machine.rear]\nstiffness = "80 N/mm/mm"\nplay = "0.05 mm"\n'
RIGID = '[machine.nip]\nclearance = "0 mm"\n'
TURNED = (
    place(40),
    lift(14),
    feed("operator", leave=30),
    LOWER,
    TURN,
    place(80),
    lift(14),
    feed("operator", by=30),
    *OUT,
)
CARRIED = (place(40), lift(12), feed("operator", leave=30, lift_to=18), *OUT)
INCHES = """\
title = "In inches (invented)"
[sheet]
material = "2024-T3"
direction = "L"
thickness = "0.040 in"
length = "5 in"
width = "12 in"
[machine]
use = "bench-60"
[machine.nip]
clamp = "30 lbf/in"
[model]
element = "0.02 in"
[[move]]
kind = "place"
at = "2.5 in"
[[move]]
kind = "lift"
to = "0.9 in"
[[move]]
kind = "feed"
toward = "rear"
leave = "0.5 in"
[[move]]
kind = "release"
"""
CASES = (
    Job("case", "demo", {}, ("run strut-fairing",)),
    Job(
        "case",
        "one-pass",
        {},
        (
            "run one-pass -o p.h5",
            "export p.h5 -o p.dxf -o p.csv",
            "export p.h5 -o steps.csv --group steps",
            "export p.h5 -o summary.csv --group summary",
            "report p.h5 -o p.html",
        ),
    ),
    roll("forward", case("Forward", FORWARD, material='"2024-T3"')),
    roll("reverse", case("Reverse", REVERSE)),
    roll("giving", case("Nip that gives", REVERSE, ELEMENT + GIVING + REAR)),
    roll("rigid", case("Rigid rolls", FORWARD, ELEMENT + RIGID)),
    roll("bulging", case("Bulging", REVERSE, ELEMENT + "bulging = true\n")),
    roll("closed", case("Closed", FORWARD, ELEMENT + 'section = "closed-form"\n')),
    roll("kinematic", case("Kinematic", TURNED, ELEMENT + 'hardening = "kinematic"\n')),
    roll("weight", case("Weight", FORWARD, ELEMENT + "weight = true\n")),
    roll("turned", case("Turned", TURNED, material='"6061-T4"')),
    roll("carried", case("Lift carried along", CARRIED)),
    roll("inches", INCHES, inch=True),
    roll(
        "thick",
        case(
            "Thick",
            (place(40), lift(16), feed("operator", leave=25), *OUT),
            '[model]\nelement = "1 mm"\nbulging = true\n',
            thickness="3 mm",
            length="160 mm",
            machine="bench-76",
            width="300 mm",
        ),
    ),
    roll(
        "narrow",
        case("Narrow, clad", FORWARD, material='"2024-T3-clad"', width="20 mm"),
    ),
    roll("bent", case("Bent before", REVERSE, sheet='radius = "400 mm"')),
    roll(
        "limited",
        case(
            "The crank ends it",
            REVERSE,
            ELEMENT + '[machine.crank]\nmax_hand_force = "12 N"\n',
        ),
    ),
    roll(
        "measured",
        case(
            "Gauge lines",
            FORWARD,
            ELEMENT + GAUGES,
        ),
    ),
)


def plan(name: str, target: str, **keys: str) -> Job:
    """Plan a part, its blank to be found."""
    plain = '[model]\nelement = "1 mm"\n'
    text = case(name, (), f"{plain}[target]\n{target}\n", **keys)
    text = "\n".join(line for line in text.split("\n") if not line.startswith("length"))
    commands = (f"plan {name}.toml -o made",)
    return Job("plan", name, {f"{name}.toml": text}, commands)


ARC = 'radius = "{} mm"\nangle = "{} deg"\ntolerance_radius = "2 %"\n'
PLANS = (
    plan("plan-arc", ARC.format(90, 100)),
    plan("plan-closing", ARC.format(80, 120) + 'opening = "130 mm"\nclosing = true\n'),
    plan("plan-tight", ARC.format(20, 90)),
    plan("plan-opening", 'radius = "100 mm"\nopening = "120 mm"\n'),
    plan(
        "plan-nose",
        "[target.nose]\n"
        'radius_operator = "90 mm"\nangle_operator = "50 deg"\n'
        'radius_rear = "120 mm"\nangle_rear = "40 deg"\nblend = "20 mm"\n',
    ),
    plan("plan-hard", ARC.format(150, 60), material='"2024-T3"', thickness="0.8 mm"),
)
STUDY = """\
title = "A small study (invented)"
case = "part.toml"
keep = ["opening", "flat_rear_moment", "radius_fit", "force_lower_max"]
[[vary]]
key = "move.2.to"
name = "lift"
from = "20 mm"
to = "26 mm"
count = 3
[[vary]]
key = "sheet.material"
values = ["5052-H32", "3003-H14"]
"""
SPAN = """\
title = "A small study by the span solver (invented)"
case = "part.toml"
solver = "span"
keep = ["radius", "loaded", "force_lower", "force_rear"]
[sample]
method = "sobol"
count = 8
seed = 3
[[vary]]
key = "pass.lift"
from = "12 mm"
to = "24 mm"
[[vary]]
key = "pass.toward"
values = ["rear", "operator"]
"""
READINGS = (
    "chord [mm], rise [mm], rise error [mm], thickness [mm], thickness error [mm]"
)
STRIPS = f"""\
# Invented.
strip, lift [mm], toward, side, {READINGS}
A, 16.0, operator, inside, 50, 2.79, 0.05, 0.98, 0.01
B, 26.0, rear, inside, 50, 3.83, 0.05, ,
"""
COARSE = '[model]\nelement = "1 mm"\n'
PART = case("A part", FORWARD, COARSE)
BOTH = case(
    "Both ways",
    (
        place(60),
        lift(24),
        feed("rear", leave=18),
        '{kind = "lower", to = "15 mm"}',
        feed("operator", leave=18),
        *OUT,
    ),
    COARSE,
)
QUESTIONS = (
    Job("limit table", "limits", {"part.toml": PART}, ("limits part.toml -o l.h5",)),
    Job(
        "limit table",
        "limits-map",
        {"part.toml": PART},
        ("limits part.toml --map yield --points 4 -o map.csv",),
    ),
    Job(
        "fit",
        "fit",
        {"part.toml": PART, "strips.csv": STRIPS},
        ("fit part.toml strips.csv -o fitted",),
    ),
    Job(
        "scatter",
        "scatter",
        {"part.toml": BOTH},
        ('scatter part.toml --tolerance "5 mm" --points 64 --checks 1 -o s.h5',),
    ),
    Job(
        "study",
        "study",
        {"part.toml": PART, "study.toml": STUDY, "span.toml": SPAN},
        (
            "study study.toml --csv study.csv --workers 1",
            "study span.toml --csv span.csv --workers 1",
        ),
    ),
    Job("verify table", "verify", {}, ("verify",)),
    Job(
        "question",
        "across",
        {"part.toml": PART},
        ("across part.toml --stations 3 -o a.h5",),
    ),
    Job("question", "rules", {"part.toml": PART}, ("rules part.toml -o r.h5",)),
    Job(
        "question",
        "cards",
        {},
        (
            "cards",
            "cards 2024-T3",
            'cards 2024-T3 --exponent 11 --thickness "1 mm" --radius "80 mm" -o c.toml',
        ),
    ),
)
JOBS = (*QUESTIONS[5:6], *PLANS, *QUESTIONS[:5], *QUESTIONS[6:], *CASES)
