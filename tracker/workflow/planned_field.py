"""A field before filming: camera and markers moved about on paper, with what they would give."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from calibration.errors import InputError
from calibration.markers import Marker, point
from tracker.report.vantage_scene import PlanScene, plan_scene
from tracker.report.vantage_words import (
    assumed_sentence,
    cautions,
    quick_figures,
    quick_view,
    summary,
)
from tracker.session import MarkerEntry, Session
from tracker.vantage import (
    Assumption,
    ExpectedShots,
    Plan,
    Stand,
    Triple,
    assess,
    moved,
    stand_of,
)
from tracker.vantage.aiming import aimed
from tracker.vantage.judging import judge
from tracker.workflow.planned import plan_of


@dataclass(frozen=True)
class PlannedField:
    """A planned field; its expected shots do not depend on where camera and markers are.

    Attributes
    ----------
    plan : Plan
    stand : Stand
    shots : ExpectedShots
    assumed : tuple of Assumption
    position_m : tuple of float
        Along, across, up of the camera.
    markers : tuple of MarkerEntry
    """

    plan: Plan
    stand: Stand
    shots: ExpectedShots
    assumed: tuple[Assumption, ...]
    position_m: Triple
    markers: tuple[MarkerEntry, ...]


@dataclass(frozen=True)
class PlanAnswer:
    """What a planned field would give.

    Attributes
    ----------
    scene : PlanScene
    sentences : tuple of str
        The verdict first, then the expected figures, then the best single change.
    details : tuple of str
        What the plan assumes and how the ball will be seen; empty where it is not judged whole.
    caution : str
        The worst that a hit can do.
    faults : tuple of str
        Why nothing could be measured, as sentences.
    whole : bool
        Whether every single change was judged too.
    """

    scene: PlanScene
    sentences: tuple[str, ...] = ()
    details: tuple[str, ...] = ()
    caution: str = ""
    faults: tuple[str, ...] = ()
    whole: bool = False


def planned_field(session: Session) -> PlannedField:
    """Return the planned field of a session, usual values for what it does not state.

    Raises
    ------
    InputError
        For faults of the plan.
    """
    plan, assumed = plan_of(session)
    stand, shots, more = stand_of(plan)
    along, across, up = (float(value) for value in stand.position_m)
    known = {entry.name: entry for entry in session.markers}
    markers = tuple(
        replace(known[one.name], pixel=None)
        if one.name in known
        else MarkerEntry(one.name, _place(one))
        for one in stand.site.markers
    )
    return PlannedField(plan, stand, shots, (*assumed, *more), (along, across, up), markers)


def replaced(
    field: PlannedField, position_m: Triple, markers: Sequence[MarkerEntry]
) -> PlannedField:
    """Return a planned field with the camera and the markers elsewhere."""
    taped = tuple(
        Marker(one.name, point(one.ground_m), one.u_m, pixel_u=one.pixel_u) for one in markers
    )
    stand = moved(field.stand, position_m, taped)
    return replace(field, stand=stand, position_m=position_m, markers=tuple(markers))


def plan_answer(field: PlannedField, whole: bool) -> PlanAnswer:
    """Return what a planned field would give; faults are part of it.

    Parameters
    ----------
    field : PlannedField
    whole : bool
        Whether every single change is judged too, which takes half a second; false while something
        is being moved.
    """
    stand, shots = field.stand, field.shots
    camera = aimed(stand, shots.points_m)
    scene = plan_scene(stand, shots, camera, field.plan.clear_m)
    try:
        if not whole:
            judged = judge(stand, shots)
            return PlanAnswer(scene, (quick_view(judged), quick_figures(shots, judged)))
        plan = replace(
            field.plan,
            position_m=field.position_m,
            site=replace(field.plan.site, markers=stand.site.markers),
        )
        vantage = assess(plan)
    except InputError as error:
        return PlanAnswer(scene, faults=tuple(_sentences(error)), whole=whole)
    vantage = replace(vantage, assumed=field.assumed)
    verdict, figures, *details, change = (words for words in summary(vantage) if words)
    return PlanAnswer(
        scene,
        (verdict, figures, change),
        tuple(filter(None, (*details, assumed_sentence(vantage)))),
        " ".join(cautions(vantage)),
        whole=True,
    )


def _place(marker: Marker) -> Triple:
    along, across, up = (float(value) for value in marker.ground_m)
    return along, across, up


def _sentences(error: InputError) -> list[str]:
    """Return faults as sentences without the names of a file's fields."""
    return [
        f"{part.what[:1].upper()}{part.what[1:]}" + (f"; {part.remedy}." if part.remedy else ".")
        for part in error.parts
    ]
