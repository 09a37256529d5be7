"""A made-up result that looks like a real one, for files, pictures and tables.

Not a simulation: loaded curvatures are drawn by hand, what follows from them (moments,
springback, shape, where the sheet lies in the rolls) is computed.
"""

import math
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from pinchline.results.schema import Event, Result, fields_of

sys.path.insert(0, str(Path(__file__).parent / "support"))  # rig, judges, spans

T, LENGTH, WIDTH, N = 1.0, 260.0, 400.0, 520
ROLL, DISTANCE, SLIDE = 30.0, 64.0, math.radians(80.0)
E, NU, YIELD, TANGENT = 69637.0, 0.33, 155.1, 870.0
LIFT = 16.0
FEEDS = (112.0, -224.0)
STIFF = E / (1.0 - NU**2) * T**3 / 12.0
FIRST_MOMENT = 2.0 / math.sqrt(3.0) * YIELD * T**2 / 6.0
FIRST_CURVATURE = FIRST_MOMENT / STIFF
WRAP = 1.0 / (ROLL + T / 2.0)
MOVES = (
    "place at 130.0 mm",
    "lift to 16.0 mm",
    "feed toward the rear roll, leave 18.0 mm",
    "feed toward the operator, leave 18.0 mm",
    "lower to 0.0 mm",
    "release",
)


def moment(curvature):
    """Bilinear section law, first loading."""
    k = np.maximum(np.abs(curvature), 1e-12)
    core = np.minimum(FIRST_CURVATURE / k, 1.0)
    slope = TANGENT / E
    plastic = FIRST_MOMENT * (1.5 - 0.5 * core**2)
    soft = FIRST_MOMENT * (k / FIRST_CURVATURE)
    return np.where(core < 1.0, plastic * (1.0 - slope) + slope * soft, soft)


def loaded_curvature(s):
    """Peak curvature, drawn by hand: two passes, flats, a crease, waves."""
    rise = (
        0.5 * (1 + np.tanh((s - 22.0) / 3.0)) * 0.5 * (1 + np.tanh((239.0 - s) / 2.0))
    )
    base = np.where(s < 120.0, 0.0212, 0.0205) * rise
    crease = 0.0165 * np.exp(-(((s - 130.0) / 1.6) ** 2))
    behind = np.clip(s - 194.0, 0.0, None)
    waves = -0.0035 * np.exp(-behind / 12.0) * np.sin(behind / 6.0) * rise
    return base + crease + waves + 0.0012 * np.exp(-(((s - 232.0) / 6.0) ** 2))


def shape(s, curvature, start=0.0):
    """Integrate curvature from the left end."""
    angle = start + np.concatenate([[0.0], np.cumsum(curvature * np.diff(s))])
    middle = 0.5 * (angle[1:] + angle[:-1])
    x = np.concatenate([[0.0], np.cumsum(np.diff(s) * np.cos(middle))])
    y = np.concatenate([[0.0], np.cumsum(np.diff(s) * np.sin(middle))])
    return x, y


def rear_centre(lift):
    return (
        DISTANCE - lift * math.cos(SLIDE),
        -(ROLL + T / 2.0) + lift * math.sin(SLIDE),
    )


def in_rolls(s_node, nip, lift, residual):
    """Sheet in the machine: straight nip, the arm bent so that it lies on the roll."""
    middle = 0.5 * (s_node[1:] + s_node[:-1]) - nip
    cx, cy = rear_centre(lift)

    def placed(k):
        arm = np.clip(1.0 - middle / 60.0, 0.0, 1.0) * (middle > 0)
        bend = np.where(
            middle > 0, np.maximum(residual * (middle > 60), k * arm), residual
        )
        bend = np.where(
            (middle > 0) & (middle <= 60), np.maximum(bend, residual * 0.6), bend
        )
        x, y = shape(s_node, bend)
        angle = np.concatenate([[0.0], np.cumsum(bend * np.diff(s_node))])
        i = int(np.argmin(np.abs(s_node - nip)))
        turn = -angle[i] + 0.5 * k
        dx, dy = x - x[i], y - y[i]
        x = dx * math.cos(turn) - dy * math.sin(turn)
        y = dx * math.sin(turn) + dy * math.cos(turn)
        return x, y

    low, high = -0.02, 0.05
    for _ in range(40):
        k = 0.5 * (low + high)
        x, y = placed(k)
        rear = s_node > nip
        near = float(np.min(np.hypot(x[rear] - cx, y[rear] - cy), initial=1e9))
        below = x[rear].size and y[rear][int(np.argmin(np.abs(x[rear] - cx)))] < cy
        if near < ROLL + T / 2.0 or below:
            low = k
        else:
            high = k
    return placed(high)


def travel():
    """Move, lift and fed length of every step."""
    lift = np.linspace(0.0, LIFT, 33)[1:]
    there = np.arange(0.5, FEEDS[0] + 0.1, 0.5)
    back = FEEDS[0] - np.arange(0.5, -FEEDS[1] + 0.1, 0.5)
    down = np.linspace(LIFT, 0.0, 17)[1:]
    parts = [
        (1, np.zeros(1), np.zeros(1)),
        (2, lift, np.zeros(lift.size)),
        (3, np.full(there.size, LIFT), there),
        (4, np.full(back.size, LIFT), back),
        (5, down, np.full(down.size, back[-1])),
        (6, np.zeros(1), np.full(1, back[-1])),
    ]
    move = np.concatenate([np.full(p[1].size, p[0], dtype=np.int32) for p in parts])
    return move, *(np.concatenate([p[i] for p in parts]) for i in (1, 2))


def made_sheet():
    s_node = np.linspace(0.0, LENGTH, N + 1)
    s = 0.5 * (s_node[1:] + s_node[:-1])
    loaded = loaded_curvature(s)
    peak = moment(loaded)
    residual = np.where(peak > FIRST_MOMENT, loaded - peak / STIFF, 0.0)
    x, y = shape(s_node, residual)
    move = np.where(s < 118.0, 3, 4)
    move = np.where(np.abs(s - 130.0) < 5.0, 2, move)
    move = np.where((s < 2.0) | (s > 258.0), 0, move)
    return {
        "s": s,
        "curvature_loaded_peak": loaded,
        "curvature_residual": residual,
        "moment_peak": peak,
        "moment_peak_move": move.astype(np.int32),
        "moment_peak_place": np.where(move == 3, 1.5, 12.0),
        "surface_strain_peak": loaded * T / 2.0,
        "s_node": s_node,
        "x": x,
        "y": y,
    }


def made_steps():
    move, lift, fed = travel()
    nip = np.where(move == 6, np.nan, 130.0 - fed)
    feeding = (move == 3) | (move == 4)
    ripple = 1.0 + 0.03 * np.sin(fed / 4.0)
    rear = np.minimum(lift * 0.42, 3.1) * ripple
    rear = np.where((move == 4) & (nip > 200.0), rear * (258.0 - nip) / 58.0, rear)
    arm = np.maximum(2.4 - 0.05 * lift, 1.4)
    lower = rear * 62.0 / arm
    zero = np.zeros(move.size)
    some = {
        "move": move,
        "lift": lift,
        "nip": nip,
        "fed": fed,
        "force_upper": lower + rear,
        "force_lower": lower,
        "force_rear": rear,
        "drive_force": np.where(feeding, np.where(move == 3, 3.4, -2.7), 0.0) * ripple,
        "grip_margin": 0.1 * (2 * lower + rear) - 3.4 * feeding,
        "upper_x": np.where(rear > 0, 1.1, np.nan),
        "rear_x": np.where(rear > 0, 58.0, np.nan),
        "energy_error": zero + 2e-4,
        "residual": zero + 1e-9,
        "iterations": np.full(move.size, 2, dtype=np.int32),
    }
    table = fields_of("steps")
    return {f.name: np.asarray(some.get(f.name, zero)) for f in table}


def made_frames(steps, sheet):
    rows = np.unique(
        np.r_[np.arange(0, steps["move"].size, 24), steps["move"].size - 1]
    )
    last = np.flatnonzero(np.diff(steps["move"])).tolist()
    rows = np.unique(np.r_[rows, last])
    x, y = [], []
    for row in rows:
        move, nip, lift = (steps[k][row] for k in ("move", "nip", "lift"))
        s = sheet["s"]
        bent = np.where(move >= 4, s > 18.0, (s < 130.0) & (s > nip))
        if move == 4:
            bent = np.where(s < 130.0, s > 18.0, s < nip)
        residual = sheet["curvature_residual"] * (bent & (move >= 3))
        if move == 6:
            px, py = sheet["x"], sheet["y"]
        else:
            px, py = in_rolls(sheet["s_node"], nip, lift, residual)
        x.append(px)
        y.append(py)
    centres = np.array([rear_centre(v) for v in steps["lift"][rows]])
    up, low = ROLL + T / 2 + 0.025, -ROLL - T / 2 - 0.025
    zero = np.zeros(rows.size)
    return {
        "step": rows.astype(np.int32),
        "lift": steps["lift"][rows],
        "nip": steps["nip"][rows],
        "move": steps["move"][rows],
        "x": np.array(x).astype("f4").astype("f8"),
        "y": np.array(y).astype("f4").astype("f8"),
        "roll_x": np.stack([zero, zero, centres[:, 0]], axis=1),
        "roll_y": np.stack([zero + up, zero + low, centres[:, 1]], axis=1),
    }


def made_summary(sheet, steps):
    s, residual, loaded = (
        sheet[k] for k in ("s", "curvature_residual", "curvature_loaded_peak")
    )
    zone = (s > 40.0) & (s < 118.0)
    below = sheet["moment_peak"] < FIRST_MOMENT
    middle = int(np.argmin(np.abs(s - 79.0)))
    x, y = sheet["x"], sheet["y"]
    turned = float(np.sum(residual) * LENGTH / N)
    some = {
        "opening": math.hypot(x[-1] - x[0], y[-1] - y[0]),
        "turned_angle": turned,
        "flat_operator_straightedge": 22.6,
        "flat_rear_straightedge": 24.1,
        "flat_operator_moment": float(s[~below][0]),
        "flat_rear_moment": float(LENGTH - s[~below][-1]),
        "radius_loaded_min": 1.0 / float(loaded.max()),
        "radius_residual_min": 1.0 / float(residual.max()),
        "radius_fit": 1.0 / float(residual[zone].mean()),
        "radius_fit_residual": 0.04,
        "zone_from": 40.0,
        "zone_to": 118.0,
        "radius_zone_mean": 1.0 / float(residual[zone].mean()),
        "radius_zone_spread": 0.9,
        "springback_ratio": float(loaded[middle] / residual[middle]),
        "springback_loaded_radius": 1.0 / float(loaded[middle]),
        "springback_residual_radius": 1.0 / float(residual[middle]),
        "chord": 60.0,
        "rise": 6.8,
        "radius_chord_rise": 69.6,
        "crease_s": 130.0,
        "crease_height": float(residual.max() / residual[zone].mean()),
        "halves_difference": 0.031,
        "surface_strain_max": float(loaded.max()) * T / 2.0,
        "allowable_strain": 0.333,
        "energy_error_max": 4e-4,
        "steps": float(steps["move"].size),
        "iterations": float(steps["iterations"].sum()),
        "solver_seconds": 1.9,
        "lift_max": LIFT,
        "wrap_excess": float(loaded.max() / WRAP),
        "penetration_max": 0.0031,
    }
    for name, dataset in {
        "force_upper_max": "force_upper",
        "force_lower_max": "force_lower",
        "force_rear_max": "force_rear",
        "drive_force_max": "drive_force",
    }.items():
        some[name] = float(np.abs(steps[dataset]).max())
    return {f.name: some.get(f.name, 0.0) for f in fields_of("summary")}


def made_result() -> Result:
    sheet, steps = made_sheet(), made_steps()
    return Result(
        title="Strut fairing, nose skin (invented example)",
        case_text='title = "Strut fairing"  # °\r\n[sheet]\n',
        case_path="cases/strut-fairing.toml",
        versions={"pinchline": "0.1.0", "numpy": np.__version__},
        inputs={f.name: 0.0 for f in fields_of("inputs")}
        | {
            "thickness": T,
            "length": LENGTH,
            "width": WIDTH,
            "upper_radius": ROLL,
            "lower_radius": ROLL,
            "rear_radius": ROLL,
            "rear_distance": DISTANCE,
            "slide_angle": SLIDE,
            "nip_opening": T + 0.05,
            "moment_first_yield": FIRST_MOMENT,
            "curvature_first_yield": FIRST_CURVATURE,
            "curvature_wrap": WRAP,
            "youngs_modulus": E,
            "poisson_ratio": NU,
            "yield_strength": YIELD,
            "tangent_modulus": TANGENT,
            "element": LENGTH / N,
            "straightedge_gap": 0.1,
        },
        labels={
            "material": "5052-H32 sheet",
            "machine": "Hand bender with 60 mm rolls (invented)",
            "direction": "LT",
            "section": "layered",
            "moves": "\n".join(MOVES),
        },
        sheet=sheet,
        steps=steps,
        frames=made_frames(steps, sheet),
        summary=made_summary(sheet, steps),
        events=[
            Event(
                2,
                "permanent set begins",
                "notice",
                "permanent set begins at 5.10 mm lift",
                11,
                130.0,
                5.1,
            ),
            Event(
                4,
                "edge leaves the rear roll",
                "notice",
                "the edge leaves the rear roll with 58.0 mm of sheet beyond the nip: "
                "the bending ends, the feed does not",
                610,
                202.0,
                58.0,
            ),
        ],
    )


def without_bend(result: Result) -> Result:
    """The same run, but nothing stayed: most measures do not exist."""
    sheet = {key: value.copy() for key, value in result.sheet.items()}
    for key in ("curvature_loaded_peak", "curvature_residual", "surface_strain_peak"):
        sheet[key] *= 0.0
    sheet["moment_peak"] *= 0.0
    sheet["moment_peak_move"] *= 0
    sheet["moment_peak_place"] = sheet["moment_peak_place"] * math.nan
    sheet["x"], sheet["y"] = sheet["s_node"].copy(), sheet["s_node"] * 0.0
    summary = dict.fromkeys(result.summary, math.nan)
    summary |= {"opening": LENGTH, "turned_angle": 0.0, "steps": 1.0}
    one = {key: value[:1] for key, value in result.steps.items()}
    frame = {key: value[:1] for key, value in result.frames.items()}
    return replace(
        result, sheet=sheet, steps=one, frames=frame, summary=summary, events=[]
    )


def stopped(result: Result) -> Result:
    """The same run, ended by the machine."""
    event = Event(
        4,
        "effort exceeded",
        "stop",
        "effort exceeded: the crank would need 188 N by hand, 150 N is allowed",
        700,
        math.nan,
        188.0,
    )
    return replace(result, events=[*result.events, event])


@pytest.fixture(scope="session")
def _made():
    return made_result()


@pytest.fixture
def result(_made):
    """A job that went well."""
    return replace(_made)


@pytest.fixture
def flat_result(_made):
    """A job in which nothing stayed bent."""
    return without_bend(_made)


@pytest.fixture
def stopped_result(_made):
    """A job that a stop ended."""
    return stopped(_made)
