"""Planner of a wanted part: search, manual closing, sensitivities, limits.

See ``search`` for how the job is found. Where the part cannot be made the nearest
one is planned, and the limit that binds is named.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from pinchline import units
from pinchline.analysis.closing import close_part
from pinchline.analysis.planning.lift_table import calibrated, lift_table
from pinchline.analysis.planning.multi_pass import in_passes
from pinchline.analysis.planning.plan import Plan, settings_of
from pinchline.analysis.planning.search import Search
from pinchline.analysis.planning.sensitivity import effects
from pinchline.analysis.planning.shortfall import bound, changes, relaxed
from pinchline.case.demand import CURL_LIMITS, LIFT_LIMITS, MACHINE_LIMITS, LimitKind
from pinchline.case.target import TARGET_COMBINATIONS
from pinchline.errors import InputError, PinchlineError
from pinchline.parts.assess import (
    FLAT_QUANTITIES,
    RADIUS_QUANTITIES,
    PartQuantity,
    deviations_from_target,
)
from pinchline.solvers.ratings import demand_of_pass, limit_checks
from pinchline.solvers.steady.solver import SOLVED, solve_pass

if TYPE_CHECKING:
    from collections.abc import Callable

    from pinchline.analysis.closing import ManualClosing
    from pinchline.analysis.planning.draft import Draft
    from pinchline.analysis.planning.lift_table import LiftTable
    from pinchline.case.case import Case
    from pinchline.parts.assess import Deviation

    Progress = Callable[[float, str], None]

MACHINE_KINDS = (*MACHINE_LIMITS, *LIFT_LIMITS)
MACHINE_AND_WRAP_KINDS = (*MACHINE_KINDS, LimitKind.WRAP)
# of the sharpest curvature: weaker bends need no calibration of theirs
CALIBRATED_CURVATURE_SHARE = 0.3
# of the bound's lift
REDUCED_LIFT_SHARES = (1.0, 0.97, 0.94, 0.9, 0.85, 0.8, 0.7, 0.6, 0.5)
# times the grip: where only the way to the steady pass asks too much
SLIP_UTILISATION = 1.1
COUNTER_BEND_SHARE = 0.02  # of the sharpest curvature: less of the other sign is noise
FLAT_CURVATURE_PER_MM = 1.0e-4  # 1/mm: a bend that looks flat
TIGHTEST_MARGIN = 1.002  # of the tightest curvature: rounding of the table
CREASE_CURVATURE_RATIO = 1.5  # of the wanted curvature: a crease worth a word
ONE_PASS_WORDS = "in one pass, "  # where several were tried and did not make it


def make_plan(
    case: Case, *, workers: int | None = None, progress: Progress | None = None
) -> Plan:
    """Plan the job of a case with a target.

    Parameters
    ----------
    case : its sheet's length and its moves are found, not taken
    workers : processes; None takes all cores
    progress : called with the share done (0..1) and what is done

    Returns
    -------
    The case with its moves, the result of running it, and how far the part is from the
    wanted one.

    Raises
    ------
    InputError
        The case has no target.
    SolverError
        The first run found no equilibrium.

    Examples
    --------
    >>> import pinchline as pl
    >>> case = pl.load_case("strut-fairing")
    >>> try:
    ...     pl.plan(case)
    ... except pl.InputError as error:
    ...     print(error.message)
    the case does not say what part is wanted
    """
    if case.target is None:
        message = "the case does not say what part is wanted"
        raise InputError(
            message,
            file=case.path,
            key="target",
            allowed=f"a table [target] with {TARGET_COMBINATIONS}",
        )
    try:
        return _plan(case, workers, progress or (lambda _share, _text: None))
    except InputError as error:
        raise error.located(file=case.path) from None


def _plan(case: Case, workers: int | None, report: Progress) -> Plan:
    report(0.0, "lifts by the span solver")
    table = lift_table(case)
    search = Search(case, table)
    bends = search.part((0.0, 0.0)).curvature
    wanted = float(np.max(np.abs(bends)))
    limit: LimitKind | None = None
    draft: Draft | None = None
    if not table.lifts.size:
        message = "no lift of this machine leaves a set in this sheet"
        raise InputError(
            message,
            key="sheet.material",
            allowed="a softer or thicker sheet, or a machine with more lift",
        )
    if wanted <= TIGHTEST_MARGIN * table.tightest:
        report(0.05, "their correction by the stepped solver")
        weakest = max(
            float(np.min(bends[bends > 0.0])), CALIBRATED_CURVATURE_SHARE * wanted
        )
        table = calibrated(case, table, (weakest, wanted))
        search = Search(case, table)
    if wanted <= TIGHTEST_MARGIN * table.tightest:
        draft = search.solve(report)
        limit = draft.stopped
    one_pass, tried = limit, False
    if draft is not None and limit in (LimitKind.GRIP, LimitKind.HAND_FORCE):
        several = in_passes(case, table, wanted, report)
        tried = several is None
        if several is not None:
            (search, draft), limit = several, None
    if draft is None or (limit and limit not in CURL_LIMITS):
        report(0.5, "the tightest curve that can be made")
        most = bound(case, table)
        limit = most.limit
        search, draft = _nearest_draft(case, table, most.lift, report)
    report(0.8, "a little more lift, closing by hand")
    limit = limit or _limit(draft, table, search)
    helps = (
        changes(case, wanted, workers)
        if limit in (*MACHINE_KINDS, LimitKind.WRAP)
        else {}
    )
    with effects(draft, table, workers) as found:
        closing = _closing(draft)
        more = found()
    return Plan(
        case=draft.case,
        result=draft.result,
        way=_route_words(draft),
        settings=settings_of(draft.case),
        deviations=draft.deviations,
        effects=more,
        closing=closing,
        reached=not limit,
        limit=_limit_words(limit, draft),
        nearest=(ONE_PASS_WORDS if tried else "") + _nearest(draft) if limit else "",
        changes=_change_words(case, table, wanted, limit, helps) if limit else (),
        notes=_notes(draft, search, one_pass),
    )


def _route_words(draft: Draft) -> str:
    """Say in how many passes the part is rolled, and whether it is turned."""
    turned = "turn end for end" if len(draft.runs) > 1 else ""
    if draft.before:
        passes = f"{len(draft.before) + 1} passes one after the other"
        return f"{passes}, then {turned}" if turned else passes
    return turned or "one pass"


def _nearest_draft(
    case: Case, table: LiftTable, most: float, report: Progress
) -> tuple[Search, Draft]:
    """Plan the part with no bend tighter than a lift (mm) leaves, judged as wanted.

    Where a stop of the machine comes on the way to the steady pass, with less lift.
    """
    for share in REDUCED_LIFT_SHARES:
        capped = table.capped(share * most)
        search = Search(relaxed(case, capped.tightest), capped)
        draft = search.solve(report)
        if draft.stopped not in MACHINE_KINDS:
            break
    wanted = Search(case, table).part(draft.made.arc_flats)
    made = draft.case
    asked = case.replace({"sheet.length": made.sheet.length, "move": made.moves})
    rows = deviations_from_target(asked, wanted, draft.made)
    return search, replace(draft, case=asked, part=wanted, deviations=rows)


def _worst(draft: Draft) -> Deviation:
    """Deviation that is farthest from good."""
    return max(draft.deviations, key=lambda d: 0.0 if d.good else abs(d.off))


def _limit_words(limit: LimitKind | None, draft: Draft) -> str:
    """Name a limit, with what is missed where no job was found; "" without one."""
    if limit is LimitKind.NO_JOB:
        return f"{limit}: {_worst(draft).name}"
    return str(limit or "")


def _limit(draft: Draft, table: LiftTable, search: Search) -> LimitKind | None:
    """Name what keeps a job from being the wanted part; None where nothing does."""
    part, values = draft.part, draft.result.summary
    if draft.stopped:
        return draft.stopped
    if values["surface_strain_max"] > values["allowable_strain"]:
        return LimitKind.STRAIN
    if draft.miss <= 1.0:
        return None
    if float(np.min(part.curvature)) < -COUNTER_BEND_SHARE * part.sharpest:
        return LimitKind.ONE_WAY
    if part.sharpest < float(table.curvatures[0]):
        return LimitKind.NO_SET
    worst = _worst(draft)
    if worst.quantity in FLAT_QUANTITIES and worst.off > 0.0:
        one_rear = len(draft.runs) == 1 and worst.quantity is PartQuantity.FLAT_REAR
        if one_rear and search.held_by:
            return search.held_by
        if one_rear and search.edge_refused:
            return LimitKind.NOT_IN_NIP_AGAIN
        return LimitKind.NIP_EDGE
    return LimitKind.NO_JOB


def _closing(draft: Draft) -> ManualClosing | None:
    """Compute the manual closing, where the target specifies one."""
    target = draft.case.target
    assert target is not None
    wanted = target.hand_opening
    if not target.closing or wanted is None or draft.stopped:
        return None
    if abs(draft.made.opening - wanted) <= target.tolerance_opening:
        return None
    try:
        return close_part(draft.state, wanted)
    except PinchlineError:
        return None


def _length(value: float) -> str:
    return units.format(value, "length")


def _nearest(draft: Draft) -> str:
    """Say the part that the plan's job makes."""
    made = draft.made
    words = []
    asked = [d for d in draft.deviations if d.quantity in RADIUS_QUANTITIES]
    words += [f"{d.name} {_length(d.made)}" for d in asked]
    words.append(f"opening {_length(made.opening)}")
    words.append(f"turned by {math.degrees(made.turned):.1f} deg")
    words.append(f"flats {_length(made.flats[0])} and {_length(made.flats[1])}")
    return ", ".join(words)


def _change_words(
    case: Case,
    table: LiftTable,
    wanted: float,
    limit: LimitKind,
    helps: dict[str, float],
) -> tuple[str, ...]:
    """Say what would make the part possible."""
    if limit == LimitKind.NIP_EDGE:
        return ("a longer blank, its edges cut off after rolling",)
    if limit in CURL_LIMITS:
        return ("less turned angle on this machine, the rest closed by hand",)
    if limit == LimitKind.ONE_WAY:
        return ("counter-bends in a second job, with the sheet turned over",)
    words = []
    if "roll" in helps:
        words.append(f"an upper roll of {_length(helps['roll'])} radius or less")
    if "thickness" in helps:
        words.append(f"sheet of {_length(helps['thickness'])} or thinner")
    if "yield" in helps:
        stress = units.format(helps["yield"], "stress")
        words.append(f"softer sheet, yield strength {stress} or less")
    if limit in MACHINE_KINDS and wanted <= table.tightest:
        words += _machine_words(case, table.lift(wanted), limit)
    if not words and limit in MACHINE_AND_WRAP_KINDS:
        words.append("no smaller upper roll, thinner or softer sheet alone is enough")
    return tuple(words)


def _machine_words(case: Case, lift: float, limit: LimitKind) -> list[str]:
    """Say what the machine would have to allow for a lift (mm)."""
    found = solve_pass(case, lift, "operator")
    if found.status != SOLVED:
        return []
    checks = limit_checks(case, demand_of_pass(case, found), abs(found.drive))
    check = next((one for one in checks if one.kind == limit), None)
    if check is None or not check.rating or limit == LimitKind.ROLL_DEFLECTION:
        return []  # how a roll deflects is not in proportion to the width
    over = check.utilisation
    if limit == LimitKind.GRIP:
        nip = case.machine.nip
        over = max(over, SLIP_UTILISATION)
        words = [
            f"rolls that grip with a friction of {over * nip.friction:.2f} or more"
        ]
        if nip.clamp is not None:
            more = (over - 1.0) * check.rating / (2.0 * nip.friction)
            force = units.format(nip.clamp + more, "line_force")
            words.append(f"rolls clamped with {force} or more")
        return words
    width = case.sheet.width / over
    return [f"sheet no wider than {_length(width)}"] if over > 1.0 else []


def _notes(draft: Draft, search: Search, one_pass: LimitKind | None) -> tuple[str, ...]:
    """Collect the operator's notes.

    ``one_pass``: what keeps a single pass from making it, None where nothing does.
    """
    case, notes = draft.case, []
    lift = draft.runs[0].knots[-1].lift
    there = solve_pass(case, lift, "rear", natural_curvature=case.sheet.curvature)
    back = draft.made.mean(0.4 * draft.made.length, 0.6 * draft.made.length)
    one_lift = len(draft.runs[0].knots) == 2 and not draft.before
    if there.status == SOLVED and back > 0.0 and one_lift:
        other = (
            "flat" if there.residual < FLAT_CURVATURE_PER_MM else _length(there.radius)
        )
        notes.append(
            "crank toward you only: fed away from you at this lift the sheet would "
            f"come out {other}, toward you {_length(1.0 / back)}"
        )
    crease = draft.result.summary["crease_height"]
    if crease > CREASE_CURVATURE_RATIO:
        at = _length(draft.result.summary["crease_s"])
        notes.append(
            f"where the roll is raised at rest, {at} from the edge, a crease of "
            f"{crease:.1f} times the bend stays, at the border of the flat"
        )
    if draft.before:
        notes.append(
            f"one pass would meet a limit ({one_pass}): every pass bends a share, with "
            "mark A on the nip line to begin with"
        )
    if len(draft.runs) > 1 and search.held_by and draft.before:
        notes.append(
            "the last pass ends where the flat that the one before left comes over the "
            "rear roll; the run with the sheet turned end for end bends the rest"
        )
    elif len(draft.runs) > 1:
        one = search.one_run_flat
        notes.append(
            "the run after turning is for the rear edge alone: without it that flat is "
            f"{_length(one)} and the sheet would not have to be turned"
        )
    return tuple(notes)
