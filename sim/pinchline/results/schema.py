"""The record of a run, and the table of every dataset its file holds.

Lengths are mm, forces N per mm of width, moments N mm per mm, angles rad. NaN means
that there is no such value: no flat, no contact, no plateau. Steps and frames are
counted from 0 (the row of ``/steps``, ``/frames``), moves from 1, as operators do.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Literal

from pinchline.case.demand import DEMAND_QUANTITIES
from pinchline.errors import InputError
from pinchline.library import did_you_mean
from pinchline.results.views import VIEWS, as_dataset

if TYPE_CHECKING:
    import xarray
    from matplotlib.figure import Figure
    from numpy.typing import NDArray

RUN_SCHEMA = "pinchline-run"
SCHEMA_VERSION = 2

ROLLS = ("upper", "lower", "rear")

DIMENSIONS: dict[str, str] = {
    "element": "element, counted from the operator's edge",
    "node": "node, counted from the operator's edge",
    "step": "accepted step",
    "frame": "frame kept for pictures and playback",
    "roll": "roll",
    "event": "event, in the order they came",
}

Kind = Literal["f8", "f4", "i4", "text"]


@dataclass(frozen=True)
class Event:
    """An event on the machine during a run.

    Attributes
    ----------
    move : number of the move, from 1
    kind : its name
    level : a notice goes on, a stop ends the move
    message : what happened, in words, with numbers
    step : row of the steps
    s : of the sheet on the nip line, mm; NaN where the sheet is not in the nip
    value : the number that made it an event; NaN where there is none
    """

    move: int
    kind: str
    level: Literal["notice", "stop"]
    message: str
    step: int
    s: float
    value: float


@dataclass(eq=False)
class Result:
    """All results of a run; the arrays and scalars are listed in ``RESULT_DATASETS``.

    Attributes
    ----------
    title, case_text, case_path : of the case; the text verbatim
    versions : package to version
    inputs : scalars of the case that the pictures and tables need
    labels : material, machine, direction, section, and the moves, one line each
    sheet, steps, frames : arrays by dataset name
    summary : what is measured on the free part, and the extremes of the run
    events : in the order they came

    Examples
    --------
    >>> import pinchline as pl
    >>> result = pl.run(pl.load_case("strut-fairing"))
    >>> result.dataset("sheet")["curvature_residual"].attrs["units"]
    '1/mm'
    >>> figure, axes = result.plot("free-part")
    """

    title: str
    case_text: str
    case_path: str
    versions: dict[str, str] = field(default_factory=dict)
    inputs: dict[str, float] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)
    sheet: dict[str, NDArray[Any]] = field(default_factory=dict)
    steps: dict[str, NDArray[Any]] = field(default_factory=dict)
    frames: dict[str, NDArray[Any]] = field(default_factory=dict)
    summary: dict[str, float] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)

    @property
    def stopped(self) -> bool:
        """Whether the machine or the sheet ended a move."""
        return any(event.level == "stop" for event in self.events)

    def plot(self, name: str = "free-part", **options: Any) -> tuple[Figure, Any]:
        """Draw one picture; no window opens.

        Parameters
        ----------
        name : free-part, curvature, largest-moment, roll-forces or sheet-in-rolls
        options : ``ax``, axes to draw on (a list of them for pictures of several);
            ``system``, "metric" or "inch"

        Returns
        -------
        Figure and axes of matplotlib; a list of axes for pictures of several.

        Raises
        ------
        InputError
            where there is no picture of that name
        """
        drawn: tuple[Figure, Any] = VIEWS["plot"](self, name, **options)
        return drawn

    def dataset(self, group: str) -> xarray.Dataset:
        """One group of the result as a dataset of ``xarray``.

        Parameters
        ----------
        group : sheet, steps, frames, events, summary or inputs

        Returns
        -------
        Variables with the names, dimensions, units and long names of the result's
        file; ``s`` and ``s_node`` are coordinates of the sheet, roll names of frames.

        Raises
        ------
        InputError
            where there is no such group, or xarray is not installed
        """
        if group not in RESULT_GROUPS:
            hint = did_you_mean(group, list(RESULT_GROUPS))
            message = f"there is no group of that name{hint}"
            raise InputError(message, value=group, allowed=", ".join(RESULT_GROUPS))
        values = columns(self.events) if group == "events" else getattr(self, group)
        variables: dict[str, Any] = {}
        coordinates: dict[str, Any] = {}
        for entry in fields_of(group):
            about = {"units": entry.units, "long_name": entry.long_name}
            along = group == "sheet" and entry.name in ("s", "s_node")
            place = coordinates if along else variables
            place[entry.name] = (entry.dims, values[entry.name], about)
            if "roll" in entry.dims:
                words = {"long_name": DIMENSIONS["roll"]}
                coordinates["roll"] = (("roll",), list(ROLLS), words)
        return as_dataset(variables, coordinates, self.title)

    def _repr_html_(self) -> str:
        """Show itself in a notebook."""
        shown: str = VIEWS["html"](self)
        return shown


@dataclass(frozen=True)
class Field:
    """One dataset of the file: where, along what, in which unit, and what it is."""

    group: str
    name: str
    dims: tuple[str, ...]
    units: str
    long_name: str
    dtype: Kind = "f8"


Row = tuple[str, str, str] | tuple[str, str, str, Kind]


def _fields(group: str, dims: tuple[str, ...], *rows: Row) -> tuple[Field, ...]:
    return tuple(Field(group, row[0], dims, *row[1:]) for row in rows)


_INPUTS = _fields(
    "inputs",
    (),
    ("thickness", "mm", "sheet thickness"),
    ("length", "mm", "sheet length along the feed"),
    ("width", "mm", "sheet width along the rolls"),
    ("upper_radius", "mm", "radius of the upper roll"),
    ("lower_radius", "mm", "radius of the lower roll"),
    ("rear_radius", "mm", "radius of the rear roll"),
    ("rear_distance", "mm", "nip line to rear-roll axis at touch"),
    ("slide_angle", "rad", "slide of the rear roll from the horizontal"),
    ("nip_opening", "mm", "opening of the nip before any load"),
    ("nip_clamp", "N/mm", "force of the clamp on the flat sheet"),
    ("stiffness_upper", "N/mm/mm", "support of the upper roll, 0 is rigid"),
    ("stiffness_lower", "N/mm/mm", "support of the lower roll, 0 is rigid"),
    ("stiffness_rear", "N/mm/mm", "support of the rear roll, 0 is rigid"),
    ("searle_number", "1", "width squared over radius and thickness"),
    ("held_flat", "1", "share of the width held flat: 1 plane strain, 0 uniaxial"),
    ("moment_first_yield", "N mm/mm", "moment at which anything first yields"),
    ("curvature_first_yield", "1/mm", "curvature at first yield of the core"),
    ("curvature_wrap", "1/mm", "curvature of the sheet lying on the upper roll"),
    ("youngs_modulus", "MPa", "Young's modulus"),
    ("poisson_ratio", "1", "Poisson's ratio"),
    ("yield_strength", "MPa", "yield strength in bending"),
    ("tangent_modulus", "MPa", "tangent modulus"),
    ("element", "mm", "element length"),
    ("straightedge_gap", "mm", "gap at which the straightedge flat ends"),
)

_SHEET = (
    *_fields(
        "sheet",
        ("element",),
        ("s", "mm", "distance from the operator's edge to the element's middle"),
        ("curvature_loaded_peak", "1/mm", "largest curvature under the rolls"),
        ("curvature_residual", "1/mm", "curvature of the free part"),
        ("moment_peak", "N mm/mm", "largest moment ever seen"),
        ("moment_peak_move", "1", "move that made the largest moment, 0 none", "i4"),
        ("moment_peak_place", "mm", "where in the machine: x from the nip line"),
        ("surface_strain_peak", "1", "largest surface strain"),
    ),
    *_fields(
        "sheet",
        ("node",),
        ("s_node", "mm", "distance from the operator's edge to the node"),
        ("x", "mm", "free part, along the operator's edge laid level"),
        ("y", "mm", "free part, height above the operator's edge"),
    ),
)

_STEPS = _fields(
    "steps",
    ("step",),
    ("move", "1", "number of the move, from 1", "i4"),
    ("lift", "mm", "lift of the rear roll from touch"),
    ("nip", "mm", "s of the sheet on the nip line"),
    ("fed", "mm", "sheet fed since the start, + toward the rear roll"),
    ("force_upper", "N/mm", "force of the upper roll on the sheet"),
    ("force_lower", "N/mm", "force of the lower roll on the sheet"),
    ("force_rear", "N/mm", "force of the rear roll on the sheet"),
    ("upper_x", "mm", "contact with the upper roll, x"),
    ("upper_y", "mm", "contact with the upper roll, y"),
    ("lower_x", "mm", "contact with the lower roll, x"),
    ("lower_y", "mm", "contact with the lower roll, y"),
    ("rear_x", "mm", "contact with the rear roll, x"),
    ("rear_y", "mm", "contact with the rear roll, y"),
    ("drive_force", "N/mm", "force that drives the sheet, + toward the rear roll"),
    ("nip_opening", "mm", "opening of the nip"),
    ("give_upper", "mm", "how far the upper roll has given way"),
    ("give_lower", "mm", "how far the lower roll has given way"),
    ("give_rear", "mm", "how far the rear roll has given way along its slide"),
    *((q.name, q.unit, q.in_step) for q in DEMAND_QUANTITIES),
    ("curvature_max", "1/mm", "largest curvature in the sheet"),
    ("patch_upper", "mm", "length of the contact patch on the upper roll"),
    ("work_drive", "N mm/mm", "work of the drive since the start"),
    ("work_rear", "N mm/mm", "work of the rear slide since the start"),
    ("work_clamp", "N mm/mm", "work of closing and opening the nip"),
    ("energy_elastic", "N mm/mm", "elastic energy stored in the sheet"),
    ("energy_plastic", "N mm/mm", "energy spent on permanent set"),
    ("energy_contact", "N mm/mm", "elastic energy stored at the contacts"),
    ("energy_support", "N mm/mm", "elastic energy stored in what holds the rolls"),
    ("energy_height", "N mm/mm", "energy of the sheet's height, where weight counts"),
    ("energy_error", "1", "closing error of the energy account over the work"),
    ("residual", "N/mm", "force left unbalanced in the step"),
    ("iterations", "1", "Newton iterations of the step", "i4"),
)

_FRAMES = (
    *_fields(
        "frames",
        ("frame",),
        ("step", "1", "step of the frame, row of /steps", "i4"),
        ("lift", "mm", "lift of the rear roll from touch"),
        ("nip", "mm", "s of the sheet on the nip line"),
        ("move", "1", "number of the move, from 1", "i4"),
    ),
    *_fields(
        "frames",
        ("frame", "node"),
        ("x", "mm", "mid-line in the machine, x from the nip", "f4"),
        ("y", "mm", "mid-line in the machine, y from the nip", "f4"),
    ),
    *_fields(
        "frames",
        ("frame", "roll"),
        ("roll_x", "mm", "roll centre, x from the nip"),
        ("roll_y", "mm", "roll centre, y from the nip"),
    ),
)

_SUMMARY = _fields(
    "summary",
    (),
    ("opening", "mm", "opening between the edges or gauge lines of the free part"),
    ("turned_angle", "rad", "angle between the two edges"),
    ("flat_operator_straightedge", "mm", "flat at the operator's edge, straightedge"),
    ("flat_rear_straightedge", "mm", "flat nearer the rear roll, straightedge"),
    ("flat_operator_moment", "mm", "flat at the operator's edge, moment"),
    ("flat_rear_moment", "mm", "flat nearer the rear roll, moment"),
    ("radius_loaded_min", "mm", "tightest radius under the rolls"),
    ("radius_residual_min", "mm", "tightest radius of the free part"),
    ("radius_fit", "mm", "radius of the circle fitted over the zone"),
    ("radius_fit_residual", "mm", "departure of the zone from that circle"),
    ("zone_from", "mm", "start of the zone"),
    ("zone_to", "mm", "end of the zone"),
    ("radius_zone_mean", "mm", "mean radius over the zone"),
    ("radius_zone_spread", "mm", "spread of the radius over the zone"),
    ("springback_ratio", "1", "residual over loaded radius, middle of the zone"),
    ("springback_loaded_radius", "mm", "loaded radius in the middle of the zone"),
    ("springback_residual_radius", "mm", "residual radius in the middle of the zone"),
    ("chord", "mm", "chord over which the rise is taken"),
    ("rise", "mm", "rise over the chord"),
    ("radius_chord_rise", "mm", "radius by chord and rise"),
    ("crease_s", "mm", "place of the crease"),
    ("crease_height", "1", "residual curvature of the crease over the plateau's"),
    ("halves_difference", "1", "difference of the halves' mean residual curvature"),
    ("surface_strain_max", "1", "largest surface strain"),
    ("allowable_strain", "1", "surface strain the alloy allows"),
    ("energy_error_max", "1", "largest closing error of the energy account"),
    ("force_upper_max", "N/mm", "largest force of the upper roll"),
    ("force_lower_max", "N/mm", "largest force of the lower roll"),
    ("force_rear_max", "N/mm", "largest force of the rear roll"),
    ("drive_force_max", "N/mm", "largest drive force"),
    ("nip_opening_max", "mm", "largest opening of the nip"),
    ("give_rear_max", "mm", "farthest that the rear roll has given way"),
    *((q.extreme, q.unit, q.in_job) for q in DEMAND_QUANTITIES),
    ("steps", "1", "accepted steps"),
    ("iterations", "1", "Newton iterations"),
    ("solver_seconds", "s", "time the solver took"),
    ("lift_max", "mm", "largest lift"),
    ("wrap_excess", "1", "largest loaded curvature over the wrap bound"),
    ("penetration_max", "mm", "deepest contact"),
)

_EVENTS = _fields(
    "events",
    ("event",),
    ("move", "1", "number of the move, from 1", "i4"),
    ("kind", "1", "name of the event", "text"),
    ("level", "1", "notice or stop", "text"),
    ("message", "1", "what happened", "text"),
    ("step", "1", "step, row of /steps", "i4"),
    ("s", "mm", "s of the sheet on the nip line"),
    ("value", "1", "the number that made it an event, unit as in the message"),
)

RESULT_DATASETS: tuple[Field, ...] = (
    *_INPUTS,
    *_SHEET,
    *_STEPS,
    *_FRAMES,
    *_SUMMARY,
    *_EVENTS,
)
RESULT_GROUPS: tuple[str, ...] = tuple(
    dict.fromkeys(entry.group for entry in RESULT_DATASETS)
)


def fields_of(group: str) -> tuple[Field, ...]:
    """Datasets of one group, in order."""
    return tuple(entry for entry in RESULT_DATASETS if entry.group == group)


def columns(events: list[Event]) -> dict[str, list[Any]]:
    """Turn events into one list per dataset."""
    names = [entry.name for entry in fields_of("events")]
    return {name: [getattr(event, name) for event in events] for name in names}


def check(result: Result) -> None:
    """Refuse a result that the table does not describe.

    Raises
    ------
    ValueError
        where a dataset is missing, unknown, or of a length unlike its neighbours'
    """
    for group in RESULT_GROUPS:
        if group == "events":
            continue
        values: dict[str, Any] = getattr(result, group)
        table = {entry.name: entry for entry in fields_of(group)}
        missing, unknown = sorted(table.keys() - values), sorted(values.keys() - table)
        if missing or unknown:
            message = f"/{group}: missing {missing}, not in the schema {unknown}"
            raise ValueError(message)
        sizes: dict[str, int] = {"roll": len(ROLLS)}
        for name, entry in table.items():
            shape = getattr(values[name], "shape", ())
            expected = tuple(
                sizes.setdefault(dim, size)
                for dim, size in zip(entry.dims, shape, strict=False)
            )
            if len(shape) != len(entry.dims) or shape != expected:
                message = f"/{group}/{name}: shape {shape}, dims {entry.dims}"
                raise ValueError(message)
