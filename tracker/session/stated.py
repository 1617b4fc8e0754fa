"""What a person states of a shot beside a verdict: its ends, or places of one that was missed."""

from dataclasses import dataclass, fields, replace

LANDING_U_M = 0.1
"""Standard uncertainty of a landing taped from the mark in the grass, m. Common practice, no
source."""

PICKED_U_PX = 2.0
"""Standard uncertainty of a place picked on a screen that shows a frame at half its size, px.
Common practice, no source."""

PICKED_U_FRAMES = 0.5
"""Standard uncertainty of a moment picked by stepping from frame to frame, frames. Common practice,
no source."""

Pair = tuple[float, float]


@dataclass(frozen=True)
class StatedEnds:
    """Where and when a shot was released or came down; None where nothing is stated.

    Attributes
    ----------
    landing_m : tuple of float or None
        Ground coordinates of the first bounce, along and across.
    landing_u_m : float
    landing_px : tuple of float or None
        Column and row of the ball at the first bounce.
    landing_px_u : float
    landing_s : float or None
        Time of the first bounce, on the clock of ``release_s``.
    release_px : tuple of float or None
        Column and row of the ball at the release.
    release_px_u : float
    moved_release_s : float or None
        Time of release in place of the measured one.
    """

    landing_m: Pair | None = None
    landing_u_m: float = LANDING_U_M
    landing_px: Pair | None = None
    landing_px_u: float = PICKED_U_PX
    landing_s: float | None = None
    release_px: Pair | None = None
    release_px_u: float = PICKED_U_PX
    moved_release_s: float | None = None

    @property
    def landing(self) -> bool:
        """Whether anything is stated of the landing."""
        return any(one is not None for one in (self.landing_m, self.landing_px, self.landing_s))

    @property
    def release(self) -> bool:
        """Whether anything is stated of the release."""
        return self.release_px is not None or self.moved_release_s is not None

    def __bool__(self) -> bool:
        return self.landing or self.release

    @property
    def words(self) -> list[str]:
        """What is stated, each in a few words."""
        found = []
        if self.landing_m is not None:
            along, across = self.landing_m
            found.append(
                f"landing at {along:g} m along, {across:g} m across (u {self.landing_u_m:g} m)"
            )
        if self.landing_px is not None:
            found.append("landing at pixel {:g}, {:g}".format(*self.landing_px))
        if self.landing_s is not None:
            found.append(f"landing at {self.landing_s:g} s")
        if self.release_px is not None:
            found.append("release at pixel {:g}, {:g}".format(*self.release_px))
        if self.moved_release_s is not None:
            found.append(f"release at {self.moved_release_s:g} s")
        return found

    def given(self) -> dict[str, object]:
        """Return the fields of ``review.toml``; None for those to be left out."""
        found: dict[str, object] = {}
        for each in fields(self):
            value, place = getattr(self, each.name), PLACES.get(each.name)
            plain = place is not None and (getattr(self, place) is None or value == each.default)
            found[each.name] = None if plain or value is None else _listed(value)
        return found

    def after(self, before: "StatedEnds") -> "StatedEnds":
        """Return an earlier statement with what is stated here in its place.

        An uncertainty goes with its place, the usual one too; alone it goes with the earlier place.
        """
        stated = {
            each.name: value
            for each in fields(self)
            if (value := getattr(self, each.name)) != each.default
            and (not self or each.name not in PLACES)
        }
        for u_name, place in PLACES.items():
            if getattr(self, place) is not None:
                stated[u_name] = getattr(self, u_name)
        return replace(before, **stated)


NOTHING_STATED = StatedEnds()

PLACES = {
    "landing_u_m": "landing_m",
    "landing_px_u": "landing_px",
    "release_px_u": "release_px",
}
"""By uncertainty the place that it belongs to."""


@dataclass(frozen=True)
class Place:
    """A place of the ball in the frame.

    Attributes
    ----------
    time_s : float
        On the clock of ``release_s``.
    pixel : tuple of float
        Column and row.
    """

    time_s: float
    pixel: Pair


@dataclass(frozen=True)
class AddedShot:
    """``[[added]]``: a shot that the search missed.

    Attributes
    ----------
    clip : str
    places : tuple of Place
        In order of time.
    px_u : float
        Standard uncertainty of each coordinate.
    setup : str or None
        In place of its clip's.
    reason : str
    where : str
        File, line and table, for notes.
    """

    clip: str
    places: tuple[Place, ...]
    px_u: float = PICKED_U_PX
    setup: str | None = None
    reason: str = ""
    where: str = ""

    @property
    def begins_s(self) -> float:
        """Time of the first place."""
        return self.places[0].time_s

    @property
    def words(self) -> str:
        """The addition in a few words."""
        why = f": {self.reason}" if self.reason else ""
        return f"added by {len(self.places)} places of the ball{why}"

    def given(self) -> dict[str, object]:
        """Return the fields of ``review.toml``; None for those to be left out."""
        return {
            "clip": self.clip,
            "places": [[place.time_s, *place.pixel] for place in self.places],
            "px_u": None if self.px_u == PICKED_U_PX else self.px_u,
            "setup": self.setup,
            "reason": self.reason or None,
        }


def _listed(value: object) -> object:
    return list(value) if isinstance(value, tuple) else value
