"""A place to film from: the planned session judged on paper, and drawn."""

from dataclasses import dataclass, replace
from pathlib import Path

from calibration.errors import InputError
from tracker.report.vantage_picture import vantage_picture
from tracker.results import folder_of, put_in_place
from tracker.session import read_session
from tracker.vantage import Box, Triple, Vantage, assess
from tracker.workflow.planned import plan_of, usual_session

PICTURE = "vantage.png"


@dataclass(frozen=True)
class VantageReport:
    """A place to film from, and where it was drawn; `picture` is None where it was not."""

    vantage: Vantage
    picture: Path | None


def judge_vantage(
    folder: Path | None,
    position_m: Triple | None = None,
    box: Box | None = None,
    quantity: str = "carry_m",
    to: Path | None = None,
) -> VantageReport:
    """Judge a place to film from, or find the best one within a box first.

    Parameters
    ----------
    folder : Path or None
        Of a session, filmed or planned; a usual one for None.
    position_m : tuple of float, optional
        In place of the session's camera position.
    box : three (float, float), optional
        Along, across and up limits of a search.
    quantity : str
        Column of shots.csv that the place is judged by.
    to : Path, optional
        Of the drawing; into the session's results when left out.

    Raises
    ------
    InputError, InputErrors
        For faults of the session, and where too little would be in view.
    """
    session = usual_session() if folder is None else read_session(folder, filmed=False)
    if to is not None and to.exists():
        raise InputError("is there already", where=str(to), remedy="give --to another name")
    plan, assumed = plan_of(session)
    if box is not None:
        plan = replace(plan, position_m=(0.0, 0.0, 0.0), aim_m=None)
    elif position_m is not None:
        plan = replace(plan, position_m=position_m)
    found = assess(plan, quantity, box)
    found = replace(found, assumed=(*assumed, *found.assumed))
    picture = to if folder is None or to is not None else folder_of(session.folder) / PICTURE
    if picture is not None:
        put_in_place(picture.parent, {picture.name: vantage_picture(found)})
    return VantageReport(found, picture)
