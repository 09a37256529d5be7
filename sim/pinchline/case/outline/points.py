"""The outline of a wanted part: points in the plane, or curvature along the line."""

from math import dist

from pinchline.case.fields import Record

MIN_OUTLINE_POINTS = 5
_STRAIGHT_SHARE = 1.0e-6


class OutlinePoints(Record):
    """Points of an outline in order, from the operator's edge, mm."""

    x: tuple[float, ...]
    y: tuple[float, ...]

    @property
    def length(self) -> float:
        """Sum of the chords, mm."""
        places = list(zip(self.x, self.y, strict=True))
        return sum(map(dist, places, places[1:]))

    @property
    def straight(self) -> bool:
        """Whether the points lie on a line, to a millionth of its length."""
        dx, dy = self.x[-1] - self.x[0], self.y[-1] - self.y[0]
        across = (
            dx * (y - self.y[0]) - dy * (x - self.x[0])
            for x, y in zip(self.x, self.y, strict=True)
        )
        return max(map(abs, across)) <= _STRAIGHT_SHARE * (dx * dx + dy * dy)


class Curvatures(Record):
    """Curvature (1/mm) along s (mm), linear between; a repeated s is a jump."""

    s: tuple[float, ...]
    curvature: tuple[float, ...]

    @property
    def length(self) -> float:
        """Length of the line, mm."""
        return self.s[-1]

    @property
    def straight(self) -> bool:
        """Whether nothing is bent."""
        return all(abs(k) * self.length <= _STRAIGHT_SHARE for k in self.curvature)
