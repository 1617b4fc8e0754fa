"""A flight traced through a clip, and the shot that is reported of it."""

from dataclasses import dataclass, field, replace

from tracker.fitting import Circumstances, FittedFlight, Observations
from tracker.measurement.bounce import Bounce
from tracker.measurement.context import ClipContext
from tracker.measurement.expectations import Expectations
from tracker.measurement.visibility import Visibility
from tracker.records import MeasuredShot, Quality, Reason

Fit = tuple[Circumstances, FittedFlight]


@dataclass(frozen=True)
class TracedFlight:
    """A flight with the ball's pictures measured along it, fitted to them.

    Attributes
    ----------
    observed : Observations
    fitted : FittedFlight
    in_view : int
        Frames in which the flight lies inside the frame.
    bounce : Bounce or None
        The first bounce, when the hop after it was seen.
    visibility : Visibility or None
        What the frames that it crosses say of it, where that is known.
    stopped : bool
        Whether something stopped or hid the ball on its way; `in_view` and `visibility` end there.
    """

    observed: Observations
    fitted: FittedFlight
    in_view: int
    bounce: Bounce | None = None
    visibility: Visibility | None = None
    stopped: bool = False


@dataclass(frozen=True)
class Basis:
    """From what a row was made, so that it can be made again with more that is known.

    Attributes
    ----------
    context : ClipContext
        With the priors that the flight was fitted with.
    traced : TracedFlight
    expectations : Expectations
    """

    context: ClipContext
    traced: TracedFlight
    expectations: Expectations


@dataclass(frozen=True)
class FittedShot(MeasuredShot):
    """A measured shot with the fit that it was made from.

    Attributes
    ----------
    basis : Basis or None
        None for a row without figures.
    fit : tuple of Circumstances and FittedFlight, or None
        None for a rejected row, and where the camera is not calibrated: every shot then has a
        camera of its own, and shots cannot be pooled.
    """

    fit: Fit | None = field(default=None, repr=False, compare=False)
    basis: Basis | None = field(default=None, repr=False, compare=False)


def numbered(measured: FittedShot, number: int) -> FittedShot:
    """Return a shot and its points with its number within the clip."""
    return replace(
        measured,
        shot=replace(measured.shot, shot=number),
        points=tuple(replace(point, shot=number) for point in measured.points),
    )


def in_setup(measured: FittedShot, setup: str) -> FittedShot:
    """Return a shot as one of another setup, of which its measurement knows nothing."""
    if measured.shot.setup == setup:
        return measured
    basis = measured.basis
    if basis is not None:
        request = replace(basis.context.request, setup=setup)
        basis = replace(basis, context=replace(basis.context, request=request))
    return replace(measured, shot=replace(measured.shot, setup=setup), basis=basis)


def doubted(measured: FittedShot, reason: Reason) -> FittedShot:
    """Return a shot that is to be checked for one more reason; a rejected one stays as it is."""
    if measured.shot.quality is Quality.REJECTED:
        return measured
    reasons = (*measured.shot.reasons, reason)
    return replace(measured, shot=replace(measured.shot, quality=Quality.CHECK, reasons=reasons))
