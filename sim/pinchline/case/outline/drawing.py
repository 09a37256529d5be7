"""One open outline out of a DXF drawing: lines, arcs, polylines, a spline."""

from dataclasses import dataclass
from itertools import pairwise
from math import atan, atan2, cos, degrees, dist, pi, radians, sin, tan
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pinchline.case.outline.points import MIN_OUTLINE_POINTS, Curvatures, OutlinePoints
from pinchline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from ezdxf.document import Drawing

Place = tuple[float, float]

_ENTITY_KINDS = "LINE, ARC, LWPOLYLINE, POLYLINE or SPLINE"
_ONE_OUTLINE = (
    f"one open outline of {_ENTITY_KINDS} in the model space, and no other lines"
)
_JOINING_GAP = (
    1.0e-3  # of the drawing's size: how far apart ends may lie that are meant to meet
)
_MAX_KINK_DEG = 3.0  # deg between neighbours, past which they meet in a corner
_SPLINE_SAG_SHARE = 1.0e-5  # of its size: bulge of a spline between points


@dataclass(frozen=True)
class Segment:
    """Line or arc from ``start`` to ``end``; ``bulge`` is tan(turn/4)."""

    start: Place
    end: Place
    bulge: float = 0.0

    @property
    def turn(self) -> float:
        """By how much it turns to the left, rad."""
        return 4.0 * atan(self.bulge)

    @property
    def curvature(self) -> float:
        """Signed, + to the left, 1/unit of the drawing."""
        return 2.0 * sin(0.5 * self.turn) / dist(self.start, self.end)

    @property
    def length(self) -> float:
        """Along the arc."""
        chord = dist(self.start, self.end)
        return chord if self.bulge == 0.0 else self.turn / self.curvature

    @property
    def headings(self) -> tuple[float, float]:
        """Heading at start and end, rad."""
        along = atan2(self.end[1] - self.start[1], self.end[0] - self.start[0])
        return along - 0.5 * self.turn, along + 0.5 * self.turn

    def reversed(self) -> "Segment":
        """Return it drawn the other way."""
        return Segment(self.end, self.start, -self.bulge)


def read_dxf(path: Path, name: str, file: str) -> OutlinePoints | Curvatures:
    """Read the outline of a drawing, in mm, in the order drawn.

    Lines and arcs that run smoothly into each other give their curvature exactly;
    a polyline of straight pieces, or a spline, gives points.

    Parameters
    ----------
    path : of the drawing
    name, file : how the case names it, and the case, for the error

    Raises
    ------
    InputError
        the file is no drawing, has no unit, or holds no single open outline
    """
    document = _open(path, name, file)
    unit = _unit(document, path)
    entities = [
        entity
        for entity in document.modelspace()
        if entity.dxftype() in {"LINE", "ARC", "LWPOLYLINE", "POLYLINE", "SPLINE"}
    ]
    splines = [entity for entity in entities if entity.dxftype() == "SPLINE"]
    if splines and len(entities) == 1:
        return _points(_flattened(splines[0]), unit)
    if splines or not entities:
        message = f"the drawing holds no outline; it must be {_ENTITY_KINDS}"
        if splines:
            message = "a spline stands beside other lines"
        raise InputError(message, file=path, allowed=_ONE_OUTLINE)
    segments = [part for entity in entities for part in _segments(entity, path)]
    chain = _chained(segments, path)
    if len(chain) > 1 and all(part.bulge == 0.0 for part in chain):
        places = [chain[0].start, *(part.end for part in chain)]
        if len(places) < MIN_OUTLINE_POINTS:
            message = f"the outline has corners and only {len(places)} points"
            allowed = f"arcs between the lines, or {MIN_OUTLINE_POINTS} points or more"
            raise InputError(message, file=path, allowed=allowed)
        return _points(places, unit)
    _check_tangent(chain, unit, path)
    s, curvature = [0.0], []
    for part in chain:
        s += [s[-1] + part.length * unit] * 2
        curvature += [part.curvature / unit] * 2
    return Curvatures(s=tuple(s[:-1]), curvature=tuple(curvature))


def _open(path: Path, name: str, file: str) -> "Drawing":
    import ezdxf

    reason = ""
    try:
        return ezdxf.filemanagement.readfile(path)
    except FileNotFoundError:
        reason = "there is no such file"
    except ezdxf.lldxf.const.DXFError as error:
        reason = f"it is not a DXF drawing ({error})"
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "it is not a DXF drawing"
    message = f"the file {path} cannot be read: {reason}"
    raise InputError(
        message,
        file=file,
        key="target.profile",
        value=name,
        allowed="a readable DXF drawing",
    )


def _unit(document: "Drawing", path: Path) -> float:
    """Return the unit of the drawing, mm."""
    from ezdxf import units

    code = int(document.header.get("$INSUNITS", 0))
    known = {units.MM: 1.0, units.CM: 10.0, units.M: 1000.0, units.IN: 25.4}
    known[units.FT] = 304.8
    if code not in known:
        message = "the drawing does not tell its unit"
        raise InputError(
            message,
            file=path,
            key="$INSUNITS",
            value=code,
            allowed="1 (inch), 2 (foot), 4 (mm), 5 (cm) or 6 (m)",
        )
    return known[code]


def _segments(entity: Any, path: Path) -> "Iterator[Segment]":
    kind = entity.dxftype()
    if kind == "LINE":
        yield Segment(_flat(entity.dxf.start), _flat(entity.dxf.end))
        return
    if kind == "ARC":
        turn = (entity.dxf.end_angle - entity.dxf.start_angle) % 360.0 or 360.0
        bulge = tan(radians(turn) / 4.0)
        ends = [_on_arc(entity, entity.dxf.start_angle)]
        ends.append(_on_arc(entity, entity.dxf.start_angle + turn))
        yield Segment(ends[0], ends[1], bulge)
        return
    if kind == "LWPOLYLINE":
        rows = [(x, y, b) for x, y, b in entity.get_points("xyb")]
        closed = bool(entity.closed)
    else:
        rows = [
            (*_flat(v.dxf.location), v.dxf.get("bulge", 0.0)) for v in entity.vertices
        ]
        closed = bool(entity.is_closed)
    if closed:
        message = "the outline is closed"
        raise InputError(message, file=path, allowed=_ONE_OUTLINE)
    for (x, y, bulge), (x2, y2, _) in pairwise(rows):
        if (x, y) != (x2, y2):
            yield Segment((x, y), (x2, y2), bulge)


def _flat(vector: Any) -> Place:
    return float(vector.x), float(vector.y)


def _on_arc(entity: Any, angle: float) -> Place:
    centre, radius = entity.dxf.center, entity.dxf.radius
    return (
        float(centre.x + radius * cos(radians(angle))),
        float(centre.y + radius * sin(radians(angle))),
    )


def _flattened(spline: Any) -> list[Place]:
    """Points on a spline, close enough to be it."""
    coarse = [_flat(v) for v in spline.flattening(1.0, 8)]
    size = max(dist(coarse[0], place) for place in coarse)
    return [_flat(v) for v in spline.flattening(_SPLINE_SAG_SHARE * size, 8)]


def _points(places: list[Place], unit: float) -> OutlinePoints:
    return OutlinePoints(
        x=tuple(x * unit for x, _ in places), y=tuple(y * unit for _, y in places)
    )


def _chained(segments: list[Segment], path: Path) -> list[Segment]:
    """Join segments end to end, from the free end that is drawn first."""
    from ezdxf import edgeminer

    ends = [end for part in segments for end in (part.start, part.end)]
    (left, *_, right), (low, *_, high) = map(sorted, zip(*ends, strict=True))
    edges = [
        edgeminer.make_edge(part.start, part.end, payload=number)
        for number, part in enumerate(segments)
    ]
    meet = _JOINING_GAP * max(right - left, high - low)
    deposit = edgeminer.Deposit(edges, gap_tol=meet)
    chains = edgeminer.find_all_simple_chains(deposit)
    message = ""
    if deposit.max_degree > 2:
        message = "lines of the drawing branch"
    elif edgeminer.is_loop(chains[0], gap_tol=meet):
        message = "the outline is closed"
    elif len(chains) > 1:
        message = f"the drawing has {len(chains)} outlines"
    if message:
        raise InputError(message, file=path, allowed=_ONE_OUTLINE)
    chain = chains[0]
    backward = chain[0].payload > chain[-1].payload
    if backward or (len(chain) == 1 and chain[0].is_reverse):
        chain = [edge.reversed() for edge in reversed(chain)]
    return [
        segments[edge.payload].reversed() if edge.is_reverse else segments[edge.payload]
        for edge in chain
    ]


def _check_tangent(chain: list[Segment], unit: float, path: Path) -> None:
    for part, following in pairwise(chain):
        turn = following.headings[0] - part.headings[1]
        turn = abs(degrees((turn + pi) % (2.0 * pi) - pi))
        if turn > _MAX_KINK_DEG:
            x, y = part.end[0] * unit, part.end[1] * unit
            message = f"the outline has a corner of {turn:.0f} deg"
            raise InputError(
                message,
                file=path,
                key="outline",
                value=f"({x:.4g}, {y:.4g}) mm",
                allowed=f"pieces that run into each other within {_MAX_KINK_DEG:g} deg",
            )
