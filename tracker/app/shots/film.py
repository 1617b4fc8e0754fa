"""The film: a clip to step through with a flight drawn over it."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from tracker.app.drawn import DrawnPicture
from tracker.report.signs import EVENTS, svg_path
from tracker.workflow.shots import DrawnFlight, Film

SIGN_PX = 18.0
"""Width of an event's sign on the screen, px; a matter of looks."""


@dataclass(frozen=True)
class Picked:
    """A place of the ball that a person picked.

    Attributes
    ----------
    mode : str
        What for.
    frame : int
    pixel : (float, float)
        Column and row.
    """

    mode: str
    frame: int
    pixel: tuple[float, float]


class FilmPicture(DrawnPicture, component="film.js"):
    """A clip to step through; emits what a person picks in it."""

    def do(self, what: str, *given: Any) -> None:
        """Call a method of the film: ``step``, ``play``, ``zoom``, ``toRelease``, ``toLanding``."""
        self.run_method(what, *given)

    def on_picked(self, call: Callable[[Picked], Any]) -> None:
        """Have a function called for every place that is picked."""
        self.on_place("picked", _picked, call)


def _picked(given: Mapping[str, Any]) -> Picked:
    return Picked(str(given["mode"]), int(given["frame"]), (float(given["x"]), float(given["y"])))


@dataclass(frozen=True)
class Picking:
    """What is picked in the film.

    Attributes
    ----------
    mode : str
        Empty where nothing is.
    hint : str
        What to do, in words.
    picks : tuple of (int, (float, float))
        Places picked so far: frame and pixel.
    """

    mode: str = ""
    hint: str = ""
    picks: tuple[tuple[int, tuple[float, float]], ...] = ()


NOTHING_PICKED = Picking()


@dataclass(frozen=True)
class Scene:
    """What the film shows.

    Attributes
    ----------
    film : Film
    clip, frames : str
        Addresses of the clip, and of its frames without their number.
    flight : DrawnFlight or None
    described : str
        In words.
    frame : int
        Where it begins.
    """

    film: Film
    clip: str
    frames: str
    flight: DrawnFlight | None
    described: str
    frame: int


def state_of(scene: Scene, picking: Picking, jump: bool) -> dict[str, Any]:
    """Return what the film shows, as plain data; `jump` goes to the scene's frame."""
    film, flight = scene.film, scene.flight
    return {
        "src": scene.clip,
        "stills": scene.frames,
        "width": film.size_px[0],
        "height": film.size_px[1],
        "times": film.times_s,
        "duration": film.duration_s,
        "pace": film.pace,
        "described": scene.described,
        "frame": scene.frame,
        "jump": jump,
        "mode": picking.mode,
        "hint": picking.hint,
        "picks": [(frame, *pixel) for frame, pixel in picking.picks],
        "signs": {event: svg_path(sign, SIGN_PX) for event, sign in EVENTS.items()},
        "flight": None
        if flight is None
        else {
            "path": flight.path,
            "points": flight.points,
            "release": flight.release_px,
            "apex": flight.apex_px,
            "landing": flight.landing_px,
        },
    }
