"""Consistency checks between the parts of a case, made before it is computed."""

from math import cos, hypot, pi, sin
from typing import TYPE_CHECKING, NoReturn

from pinchline import units
from pinchline.case.layout import rear_roll_centre
from pinchline.case.moves import Feed, Lower, Place, Turn, move_key
from pinchline.case.program import TracedMove
from pinchline.errors import InputError

if TYPE_CHECKING:
    from pinchline.case.case import Case

_MAX_ELEMENTS = 20000
_MIN_ELEMENTS = 8
MAX_THICKNESS_OVER_RADIUS = 0.25  # of the radius: as far as beam theory holds
_RELATIVE_ROUNDING = 1.0e-9
_ALLOWED_AFTER: dict[str, tuple[str, ...]] = {
    "release": ("turn", "place"),
    "turn": ("place",),
}


def check_case(case: "Case") -> None:
    """Refuse a case that contradicts itself.

    Raises
    ------
    InputError
        that names file, key, value and what is allowed
    """
    try:
        _check_sheet(case)
        _check_section(case)
        _check_rolls(case)
        _check_elements(case)
        _check_programme(case)
        _check_measures(case)
        _check_target(case)
    except InputError as error:
        raise error.located(file=case.path) from None


def require_programme(case: "Case") -> None:
    """Refuse a case that says what part is wanted but not how it is rolled.

    Raises
    ------
    InputError
        that says what to do
    """
    if not case.moves:
        try:
            _refuse_no_programme("[[move]] tables, such as `pinchline plan` writes")
        except InputError as error:
            raise error.located(file=case.path) from None


def _refuse(message: str, key: str, value: str, allowed: str) -> NoReturn:
    raise InputError(message, key=key, value=value, allowed=allowed)


def _refuse_no_programme(allowed: str) -> NoReturn:
    message = "the programme is empty"
    raise InputError(message, key="move", allowed=allowed)


def _mm(value: float) -> str:
    return f"{value:.4g} mm"


def _check_sheet(case: "Case") -> None:
    sheet = case.sheet
    thickest = MAX_THICKNESS_OVER_RADIUS * case.machine.rolls.upper_radius
    if sheet.thickness > thickest * (1.0 + _RELATIVE_ROUNDING):
        _refuse(
            "a sheet thicker than the rolls allow",
            "sheet.thickness",
            _mm(sheet.thickness),
            f"up to a quarter of the upper roll's radius, {_mm(thickest)}",
        )
    if sheet.length < 4.0 * sheet.thickness * (1.0 - _RELATIVE_ROUNDING):
        _refuse(
            "the sheet is shorter than four thicknesses",
            "sheet.length",
            _mm(sheet.length),
            f"a length of {_mm(4.0 * sheet.thickness)} or more",
        )
    bend = abs(sheet.curvature)
    closest = max(
        sheet.thickness / MAX_THICKNESS_OVER_RADIUS, sheet.length / (2.0 * pi)
    )
    if bend * closest > 1.0 + _RELATIVE_ROUNDING:
        _refuse(
            "the sheet is curved too tightly, or closes on itself",
            "sheet.curvature",
            f"{sheet.curvature:.4g} 1/mm, a radius of {_mm(1.0 / bend)}",
            f"a radius of {_mm(closest)} or more",
        )


def _check_section(case: "Case") -> None:
    """Refuse a section law that the sheet's material does not fit."""
    material, options = case.sheet.material, case.model
    closed = options.section == "closed-form"
    if closed and material.clad is not None:
        _refuse(
            "the closed form holds for one material through the thickness",
            "model.section",
            options.section,
            '"layered" for a clad sheet',
        )
    if material.curve is None:
        return
    message = "does not go with the curve of sheet.material"
    if closed:
        _refuse(message, "model.section", options.section, '"layered"')
    if options.hardening not in {None, 1.0}:
        allowed = '"kinematic", or leave it out: sub-layers of a curve only shift'
        _refuse(message, "model.hardening", f"{options.hardening:g}", allowed)


def _check_rolls(case: "Case") -> None:
    machine, thickness = case.machine, case.sheet.thickness
    rolls, rear, clearance = machine.rolls, machine.rear, machine.nip.opening
    if clearance >= thickness:
        _refuse(
            "the nip opens by as much as the sheet is thick",
            "machine.nip.clearance",
            _mm(clearance),
            f"a clearance below the thickness, {_mm(thickness)}",
        )
    for key, play in (("nip", machine.nip.play), ("rear", rear.play)):
        if play >= thickness:
            _refuse(
                "more play than the sheet is thick",
                f"machine.{key}.play",
                _mm(play),
                f"a play below the thickness, {_mm(thickness)}",
            )
    if abs(rear.skew) > rear.travel:
        _refuse(
            "the rear roll is skewed by more than its travel",
            "machine.rear.skew",
            _mm(rear.skew),
            f"up to {_mm(rear.travel)} to either side",
        )
    _check_bearings(case)
    reach = rolls.lower_radius + rolls.rear_radius
    x, y = rear_roll_centre(machine, thickness, 0.0)
    y += rolls.lower_radius + 0.5 * (thickness + clearance)
    if hypot(x, y) <= reach:
        _refuse(
            "the rear roll meets the lower roll at touch",
            "machine.rear.distance",
            _mm(rear.distance),
            f"more than {_mm(reach)} between the axes; they are {_mm(hypot(x, y))} "
            "apart",
        )
    cosine, sine = cos(rear.slide_angle), sin(rear.slide_angle)
    nearest = min(max(x * cosine - y * sine, 0.0), rear.travel)
    gap = hypot(x - nearest * cosine, y + nearest * sine)
    if gap <= reach:
        _refuse(
            f"the rear roll meets the lower roll on its slide, at a lift of "
            f"{_mm(nearest)}",
            "machine.rear.slide_angle",
            units.format(rear.slide_angle, "angle"),
            f"a distance, angle and travel that keep the axes more than {_mm(reach)} "
            f"apart; they come to {_mm(gap)}",
        )


def _check_bearings(case: "Case") -> None:
    shaft, sheet = case.machine.rolls.shaft, case.sheet
    if shaft is None:
        return
    needed = sheet.width + 2.0 * abs(sheet.off_centre)
    if needed >= shaft.span * (1.0 - _RELATIVE_ROUNDING):
        room = _mm(shaft.span - 2.0 * abs(sheet.off_centre))
        _refuse(
            "the sheet reaches over the bearings of the rolls",
            "sheet.width",
            _mm(sheet.width),
            f"less than {room} between bearings {_mm(shaft.span)} apart "
            "(machine.rolls.shaft.span)",
        )


def _check_elements(case: "Case") -> None:
    thickness, length = case.sheet.thickness, case.sheet.length
    element = case.model.element
    if element is not None and element > 2.0 * thickness * (1.0 + _RELATIVE_ROUNDING):
        _refuse(
            "the element is longer than two thicknesses",
            "model.element",
            _mm(element),
            f"up to {_mm(2.0 * thickness)}; a quarter of the thickness is usual",
        )
    if not _MIN_ELEMENTS <= case.elements <= _MAX_ELEMENTS:
        least, most = length / _MAX_ELEMENTS, length / _MIN_ELEMENTS
        _refuse(
            f"the sheet would have {case.elements} elements",
            "model.element" if element is not None else "sheet.length",
            _mm(element if element is not None else length),
            f"{_MIN_ELEMENTS} to {_MAX_ELEMENTS} elements: model.element from "
            f"{_mm(least)} to {_mm(most)} for this length",
        )


def _check_programme(case: "Case") -> None:
    if not case.moves and case.target is None:
        _refuse_no_programme('at least one [[move]], the first of kind "place"')
    last = ""
    for number, step in enumerate(case.program, 1):
        key = move_key(number, step.move.kind)
        _check_order(step, last, key)
        _check_move(step, case.sheet.length, key)
        last = step.move.kind


def _check_order(step: TracedMove, last: str, key: str) -> None:
    """Refuse a move that cannot follow on one of the kind ``last``."""
    move = step.move
    if not last and not isinstance(move, Place):
        allowed = 'a move of kind "place" first'
        _refuse("no sheet is in the machine yet", f"{key}: kind", move.kind, allowed)
    after = _ALLOWED_AFTER.get(last)
    if after is not None and move.kind not in after:
        message = f"the sheet is out of the machine after {last}"
        _refuse(message, f"{key}: kind", move.kind, f"{' or '.join(after)} next")
    again = isinstance(move, Place) and bool(last)
    if again and last not in {"lower", "release", "turn"}:
        message = "the sheet is in the machine already"
        allowed = "place again only after lower, release or turn"
        _refuse(message, f"{key}: kind", move.kind, allowed)
    if (again or isinstance(move, Turn)) and step.lift > 0.0:
        message = f"the rear roll still stands at a lift of {_mm(step.lift)}"
        allowed = f'{move.kind} with the rear roll down: a "lower" before it'
        _refuse(message, f"{key}: kind", move.kind, allowed)


def _check_move(step: TracedMove, length: float, key: str) -> None:
    """Refuse a move that makes no sense where sheet and roll stand."""
    move = step.move
    if isinstance(move, Place) and not 0.0 < move.at < length:
        allowed = f"above 0 and below the sheet's length, {_mm(length)}"
        message = "the nip line misses the sheet"
        _refuse(message, f"{key}: at", _mm(move.at), allowed)
    if isinstance(move, Lower) and move.to > step.lift_before + _RELATIVE_ROUNDING:
        allowed = f"a lift up to the present {_mm(step.lift_before)}"
        _refuse("lower would raise the roll", f"{key}: to", _mm(move.to), allowed)
    if (
        isinstance(move, Feed)
        and (move.leave or 0.0) > step.behind + _RELATIVE_ROUNDING
    ):
        _refuse(
            f"only {_mm(step.behind)} of sheet are behind the nip line here",
            f"{key}: leave",
            _mm(move.leave or 0.0),
            f"a length up to {_mm(step.behind)}",
        )


def _check_measures(case: "Case") -> None:
    measure, length = case.measure, case.sheet.length
    for name in ("gauge_operator", "gauge_rear", "zone_from", "zone_to"):
        value = getattr(measure, name)
        if value is not None and value > length:
            allowed = f"a place on the sheet, up to {_mm(length)}"
            _refuse("lies beyond the sheet", f"measure.{name}", _mm(value), allowed)
    if (measure.zone_from is None) != (measure.zone_to is None):
        given = "zone_from" if measure.zone_to is None else "zone_to"
        lone = measure.zone_from if measure.zone_to is None else measure.zone_to
        _refuse(
            "half a zone",
            f"measure.{given}",
            _mm(lone or 0.0),
            "zone_from and zone_to together, or neither",
        )
    first = measure.gauge_operator or 0.0
    last = length if measure.gauge_rear is None else measure.gauge_rear
    pairs = [("gauge_operator", first, "gauge_rear", last)]
    if measure.zone_from is not None and measure.zone_to is not None:
        pairs.append(("zone_from", measure.zone_from, "zone_to", measure.zone_to))
    for low_name, low, high_name, high in pairs:
        if low >= high:
            allowed = f"less than {high_name}, {_mm(high)}"
            _refuse("does not rise", f"measure.{low_name}", _mm(low), allowed)


def _check_target(case: "Case") -> None:
    """Refuse a part that no sheet of this thickness is, or that is not bent."""
    target, thickness = case.target, case.sheet.thickness
    if target is None:
        return
    tightest = thickness / MAX_THICKNESS_OVER_RADIUS
    for key, radius in _target_radii(case):
        if target.to_middle(radius, thickness) < tightest * (1.0 - _RELATIVE_ROUNDING):
            _refuse(
                "a part too tight for its thickness",
                f"target.{key}",
                _mm(radius),
                f"a mid-line radius of four thicknesses, {_mm(tightest)}, or more",
            )
    if target.opening is not None and target.hand_opening is None:
        flats = target.flat_operator, target.flat_rear
        if flats[0] is not None and flats[1] is not None:
            target.arc(thickness, (flats[0], flats[1]))
    drawing = target.drawing
    if drawing is not None and drawing.straight:
        _refuse(
            "the profile is straight",
            "target.profile",
            target.profile or "",
            "the outline of a part that is bent",
        )
    closed = target.hand_opening
    if closed is not None and closed < thickness * (1.0 - _RELATIVE_ROUNDING):
        _refuse(
            "the edges would lie inside each other",
            "target.opening",
            _mm(closed),
            f"the thickness, {_mm(thickness)}, or more",
        )


def _target_radii(case: "Case") -> list[tuple[str, float]]:
    """Radii of a target by key, mm on its side."""
    target = case.target
    if target is None:
        return []
    if target.nose is not None:
        names = ("radius_operator", "radius_rear")
        return [(f"nose.{name}", getattr(target.nose, name)) for name in names]
    return [] if target.radius is None else [("radius", target.radius)]
