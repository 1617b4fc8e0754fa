"""``lobmeter report``: measured sessions as one document."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from calibration.errors import InputError, typed
from calibration.site import Calibration
from tracker.comparison.compare import compare
from tracker.comparison.knowledge import Knowledge
from tracker.records import Quality, Shot
from tracker.report.calibration_picture import calibration_picture
from tracker.report.calibration_words import camera_sentences, marker_cells, verdict_sentence
from tracker.report.document import (
    CalibrationFacts,
    InputFile,
    ReportFacts,
    SessionFacts,
    ShotFigures,
    Still,
    report_page,
)
from tracker.report.document.curves import curve_of
from tracker.report.document.printing import PAPERS, pdf_of
from tracker.report.document.stills import smaller
from tracker.results import list_computed, put_in_place
from tracker.results.budgets import read_budgets
from tracker.results.computed import command_of, stated_by
from tracker.results.details import read_notes, read_points, used_places
from tracker.results.rows import read_provenance
from tracker.session import ClipEntry, Session
from tracker.video import first_picture
from tracker.workflow.ball_and_air import ground_under
from tracker.workflow.gathering import gather
from tracker.workflow.inputs import inspected, picture_names, read_all, results_of
from tracker.workflow.outings import Outings
from tracker.workflow.stand import calibrate_if_fixed

REPORT = "report.html"
PAGES = (".html", ".htm")
"""Endings by which browsers know a page; any other they show, and print, as text."""

SHOWS = ("shots.csv", "shots.json", "tracks.csv")
"""Files of the results that a report is made of."""

QUANTITIES = ("carry_m", "exit_speed_mps")
"""What setups are compared in."""


@dataclass(frozen=True)
class Reported:
    """Where a report lies, as a page and, if asked for, as a PDF file."""

    page: Path
    pdf: Path | None = None


def report_sessions(
    folders: Sequence[Path],
    to: Path | None = None,
    as_pdf: bool = False,
    sheet: str | None = None,
) -> Reported:
    """Write a report of measured sessions.

    Parameters
    ----------
    folders : sequence of Path
        Sessions, or single video files that were measured.
    to : Path, optional
        The HTML file; ``report.html`` in the results of the first session when left out.
    as_pdf : bool
        Whether a PDF file is printed beside it.
    sheet : str, optional
        A4 or Letter, in any case; the usual one of this machine's country when left out.

    Raises
    ------
    InputError
        For faults of the sessions, sessions without results, a name that is no page's, a sheet that
        is none or has nothing to be printed on it, a file that cannot be written.
    """
    on = _sheet(sheet, as_pdf)
    if to is not None and to.suffix.lower() not in PAGES:
        what = f'"{to.name}" is no name of a page'
        raise InputError(what, where="--to", remedy=f"end it in {PAGES[0]}")
    first = read_all(folders)[0]
    shown = stated_by(results_of(first), SHOWS)
    page = report_page(report_facts(folders))
    target = to if to is not None else results_of(first) / REPORT
    put_in_place(target.parent, {target.name: page.encode("utf-8")})
    pdf = target.with_suffix(".pdf") if as_pdf else None
    if pdf is not None:
        put_in_place(pdf.parent, {pdf.name: pdf_of(target, on)})
    if to is None:
        files = [each.name for each in (target, pdf) if each is not None]
        printed = "--pdf" if as_pdf else ""
        options = f"{printed} --paper {on}" if on else printed
        again = command_of("report", folders[1:], options)
        list_computed(target.parent, files, shown, again)
    return Reported(target, pdf)


def _sheet(named: str | None, as_pdf: bool) -> str | None:
    """Return the sheet that was asked for as it is called, None where none was."""
    if named is None:
        return None
    found = next((each for each in PAPERS if each.casefold() == named.strip().casefold()), None)
    if found is None:
        raise InputError(
            f'"{named}" is no sheet', where="--paper", remedy=f"write {' or '.join(PAPERS)}"
        )
    if not as_pdf:
        raise InputError("is the sheet of a PDF file", where="--paper", remedy="add --pdf")
    return found


def report_facts(folders: Sequence[Path]) -> ReportFacts:
    """Gather what a report of sessions shows."""
    outings = gather(folders)
    notes = list(outings.notes)
    shots = [setup.shots for setup in outings.setups]
    rows: list[ShotFigures] = []
    curves, stills, inputs, calibrations = [], [], [], []
    versions: dict[str, None] = {}
    told: dict[str, Sequence[str]] = {}
    for session, folder in zip(outings.sessions, folders, strict=True):
        results = results_of(session)
        provenance = read_provenance(results / "shots.json")
        if provenance.version:
            versions[provenance.version] = None
        named = f"{session.name}, " if len(folders) > 1 else ""
        clips = read_notes(results / "shots.json").items()
        told |= {f"{named}{clip}": said for clip, said in clips}
        inputs += [InputFile(session.name, *each) for each in provenance.inputs.items()]
        budgets, points = read_budgets(results / "shots.json"), read_points(results / "tracks.csv")
        mine = _shots_of(outings, session, folder)
        rises = {clip.file: ground_under(clip.markers).rise_along for clip in session.clips}
        for shot in mine:
            key = (shot.clip, shot.shot)
            rows.append(ShotFigures(session.name, shot, budgets.get(key, {})))
            places = used_places(points.get(key, ()))
            curve = curve_of(shot, places, f"{shot.clip}, shot {shot.shot}", rises[shot.clip])
            curves += [] if curve is None else [curve]
        stills += _stills(session, mine)
        calibrations += _calibrations(session, notes)
    if not rows:
        raise _nothing(outings.sessions[0], folders[0])
    known = Knowledge(outings.setups)
    return ReportFacts(
        sessions=tuple(_about(session) for session in outings.sessions),
        setups=tuple(shots),
        comparisons=tuple(
            compare(shots, quantity, known.by_others(quantity)) for quantity in QUANTITIES
        ),
        shots=tuple(rows),
        curves=tuple(curves),
        calibrations=tuple(calibrations),
        stills=tuple(stills),
        inputs=tuple(inputs),
        versions=tuple(versions),
        notes=tuple(notes),
        assumed=tuple(_assumed(told)),
    )


def _assumed(told: Mapping[str, Sequence[str]]) -> list[str]:
    """Return what was said of clips as sentences; what holds for every clip names none."""
    clips_of: dict[str, list[str]] = {}
    for clip, said in told.items():
        for note in said:
            clips_of.setdefault(note, []).append(clip)
    found = []
    for note, clips in clips_of.items():
        # The name of a file keeps its letters.
        capital = note if "." in note.partition(" ")[0] else f"{note[:1].upper()}{note[1:]}"
        said = capital if len(clips) == len(told) else f"{'; '.join(clips)}: {note}"
        found.append(said if said.endswith((".", "?")) else f"{said}.")
    return found


def _nothing(session: Session, folder: Path) -> InputError:
    """Return what to say of a session without a row: it was not measured, or holds no shot."""
    results = results_of(session)
    if not (results / "shots.csv").is_file():
        return InputError(
            "has no results to report",
            where=str(folder),
            remedy=f"measure first: lobmeter measure {typed(folder)}",
        )
    return InputError(
        "no shot was found in it, so there is nothing to report",
        where=str(folder),
        remedy=f"the pictures in {results} whose names end in -explained.jpg show what was seen",
    )


def _about(session: Session) -> SessionFacts:
    day = "" if session.date is None else session.date.isoformat()
    return SessionFacts(session.name, day, session.notes)


def _shots_of(outings: Outings, session: Session, folder: Path) -> list[Shot]:
    """Return the rows of one session, clip by clip."""
    place = {clip.file: number for number, clip in enumerate(session.clips)}
    found = [
        shot
        for setup in outings.setups
        for shot, outing in zip(setup.shots.shots, setup.shots.occasions, strict=True)
        if outing in (str(folder), f"{folder}/{shot.clip}") and shot.clip in place
    ]
    return sorted(found, key=lambda shot: (place[shot.clip], shot.shot))


def _stills(session: Session, shots: Sequence[Shot]) -> list[Still]:
    """Return the pictures that the measurement drew, made smaller."""
    names = picture_names(session.clips)
    found = []
    for shot in shots:
        path = results_of(session) / f"{names[shot.clip]}-shot-{shot.shot}.jpg"
        picture = smaller(path.read_bytes()) if path.is_file() else b""
        if picture:
            doubt = "" if shot.quality is Quality.GOOD else f", {shot.quality}"
            found.append(Still(f"{shot.setup}, {shot.clip}, shot {shot.shot}{doubt}", picture))
    return found


def _calibrations(session: Session, notes: list[str]) -> list[CalibrationFacts]:
    """Return the calibration of every clip once for those that share markers and frame size."""
    found: dict[tuple[object, ...], tuple[list[str], ClipEntry, Calibration]] = {}
    for clip in session.clips:
        try:
            facts = inspected(session, clip)
            calibration = calibrate_if_fixed(session, clip, facts.size_px)
        except InputError as error:
            notes.append(f"{clip.file} shows no calibration: {error.sentences()[0]}")
            continue
        if calibration is not None:
            key = (clip.markers, facts.size_px)
            found.setdefault(key, ([], clip, calibration))[0].append(clip.file)
    drawn = []
    for clips, clip, calibration in found.values():
        frame = first_picture(inspected(session, clip))
        picture = smaller(
            calibration_picture(calibration, frame, clip.file, ground_under(clip.markers))
        )
        said = (
            verdict_sentence(calibration),
            f"{calibration.summary[:1].upper()}{calibration.summary[1:]}.",
            *camera_sentences(calibration),
        )
        drawn.append(CalibrationFacts(tuple(clips), said, marker_cells(calibration), picture))
    return drawn
