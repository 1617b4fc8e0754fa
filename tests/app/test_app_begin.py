"""From a dropped clip to the first answer."""

import shutil
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Page, expect

from tests.app.asking import announced, piece
from tests.app.conftest import ROOT, Served, ready
from tracker.records import Reason, ReasonCode, sentence
from tracker.report.rounding import with_uncertainty
from tracker.results import read_shots
from tracker.results.details import read_notes
from tracker.results.tables import Origin, shots_csv, shots_json
from tracker.session import read_session
from tracker.workflow.measure import measure_session

Visit = Callable[[Path, str], Page]
CLIP = ROOT / "sample_clips" / "close" / "clips" / "140mm.mp4"


@pytest.mark.long
def test_a_dropped_clip_is_measured_without_a_question(
    server: Served, tab: Page, tmp_path: Path
) -> None:
    others = set(server.home.glob("140mm*"))
    tab.goto(f"{server.base}/begin")
    ready(tab)
    tab.get_by_label("Choose clips").set_input_files(CLIP)
    tab.wait_for_url("**/measure")
    expect(tab.get_by_role("table")).to_be_visible()
    (folder,) = set(server.home.glob("140mm*")) - others
    (row,) = read_shots(folder / "results" / "shots.csv")
    expect(tab.locator(".lead")).to_contain_text(
        f"One shot: {row.exit_speed_mps:.1f} ±{row.exit_speed_u_mps:.1f} m/s exit speed"
    )
    expect(tab.locator("svg polyline.line")).to_have_count(1)
    assert (folder / "clips" / "140mm.mp4").stat().st_size == CLIP.stat().st_size
    assert (folder / "clips" / "140mm.mp4").stat().st_mtime == pytest.approx(
        CLIP.stat().st_mtime, abs=0.01
    )
    shots = (folder / "results" / "shots.csv").read_bytes()
    measure_session(folder)
    assert (folder / "results" / "shots.csv").read_bytes() == shots
    assert read_session(folder).clips[0].file == "clips/140mm.mp4"


@pytest.mark.campaign
def test_a_session_somewhere_else_is_opened_by_its_path(
    server: Served, tab: Page, session: Path
) -> None:
    tab.goto(f"{server.base}/begin")
    ready(tab)
    path = tab.get_by_label("Its folder, or a video file")
    path.fill(str(session / "nowhere"))
    path.press("Enter")
    expect(tab.get_by_role("status")).to_contain_text("there is no such file or folder")
    path.fill(str(session))
    path.press("Enter")
    tab.wait_for_url("**/measure")
    expect(tab).to_have_title("Measure · Fen Lane, close 15")


@pytest.mark.campaign
def test_a_bare_clip_is_opened_and_keeps_no_values(
    server: Served, tab: Page, session: Path
) -> None:
    tab.goto(f"{server.open(session / 'clips' / '140mm.mp4')}/measure")
    ready(tab)
    expect(tab.locator(".lead")).to_have_text("Nothing is measured yet.")
    expect(tab.get_by_role("button", name="Undo")).to_have_count(0)


@pytest.mark.campaign
def test_a_clip_is_added_to_a_session_and_measured(
    visit: Visit, measured: Path, tmp_path: Path
) -> None:
    forgotten = shutil.copy2(CLIP, tmp_path / "140mm again.mp4")
    tab = visit(measured, "measure")
    tab.get_by_text("More clips for this session").click()
    tab.get_by_label("Choose clips").set_input_files(forgotten)
    expect(tab.locator(".lead")).to_contain_text("2 shots")
    added = read_session(measured).clips[-1]
    assert (added.file, added.setup) == ("clips/140mm again.mp4", "140 mm wheels")


@pytest.mark.campaign
def test_measuring_can_be_cancelled(visit: Visit, session: Path) -> None:
    tab = visit(session, "measure")
    expect(tab.locator(".lead")).to_have_text("Nothing is measured yet.")
    tab.get_by_role("button", name="Measure").click()
    tab.get_by_role("button", name="Cancel").click()
    expect(tab.locator(".answer")).to_contain_text("Cancelled.")
    expect(tab.get_by_role("button", name="Measure")).to_be_visible()
    assert not (session / "results").exists()


def test_a_clip_without_a_shot_shows_the_cause_and_what_was_seen(
    visit: Visit, measured: Path
) -> None:
    results = measured / "results"
    no_light = Reason(ReasonCode.DOES_NOT_FALL)
    causes = {"clips/140mm.mp4": (no_light,)}
    (results / "shots.csv").write_text(shots_csv([]), encoding="utf-8")
    text = shots_json([], Origin("0", "Fen Lane", {}), causes=causes)
    (results / "shots.json").write_text(text, encoding="utf-8")
    shutil.copy(results / "140mm-shot-1.jpg", results / "140mm-explained.jpg")
    tab = visit(measured, "measure")
    expect(tab.locator(".lead")).to_have_text(sentence([no_light]))
    expect(tab.get_by_text("one standard uncertainty")).to_have_count(0)
    seen = tab.get_by_role("img", name="What was considered")
    expect(seen).to_have_js_property("naturalWidth", 1920)


def test_a_measured_session_shows_its_answer(visit: Visit, measured: Path) -> None:
    tab = visit(measured, "measure")
    (shot,) = read_shots(measured / "results" / "shots.csv")
    speed = with_uncertainty(shot.exit_speed_mps, shot.exit_speed_u_mps)
    expect(tab.locator(".lead")).to_contain_text(f"One shot: {speed} m/s exit speed")
    expect(tab.locator("svg polyline.line")).to_have_count(1)
    expect(tab.get_by_role("table")).to_contain_text(speed)
    # By whatever program it was measured, and however long ago.
    told = read_notes(measured / "results" / "shots.json")["clips/140mm.mp4"]
    tab.get_by_text("What was assumed and noticed").click()
    expect(tab.get_by_text(f"clips/140mm.mp4: {told[0]}")).to_be_visible()


@pytest.mark.campaign
def test_a_dropped_text_is_refused_in_a_sentence(server: Served, tab: Page, tmp_path: Path) -> None:
    (tmp_path / "notes.mp4").write_text("no film", "utf-8")
    tab.goto(f"{server.base}/begin")
    ready(tab)
    tab.get_by_label("Choose clips").set_input_files(tmp_path / "notes.mp4")
    expect(tab.get_by_role("status")).to_contain_text("notes.mp4")
    assert not list(server.home.glob("notes*")) and not list(server.home.glob(".beginning*"))


@pytest.mark.campaign
def test_films_are_sorted_out_of_what_is_dropped(server: Served, tab: Page) -> None:
    tab.goto(f"{server.base}/begin")
    ready(tab)
    dropped = [
        ("seen_by_nobody.mp4", b"no film"),
        ("evening.mp4", CLIP.read_bytes()),
        ("us.jpg", b"a picture"),
    ]
    tab.get_by_label("Choose clips").set_input_files(
        [{"name": name, "mimeType": "", "buffer": content} for name, content in dropped]
    )
    tab.wait_for_url("**/measure")
    expect(tab.get_by_role("status")).to_contain_text("seen_by_nobody.mp4: this is a text")
    tab.get_by_role("button", name="Cancel").click()
    (folder,) = server.home.glob("evening*")
    assert [clip.file for clip in read_session(folder).clips] == ["clips/evening.mp4"]


@pytest.mark.campaign
def test_what_is_no_film_is_left_out_in_a_sentence(server: Served, tab: Page) -> None:
    tab.goto(f"{server.base}/begin")
    ready(tab)
    tab.get_by_label("Choose clips").set_input_files(
        {"name": "us.jpg", "mimeType": "image/jpeg", "buffer": b"a picture"}
    )
    expect(tab.locator(".sent")).to_have_text("us.jpg is no film; it is left out.")
    tab.get_by_label("Choose clips").set_input_files(
        {"name": "evening.ZIP", "mimeType": "application/zip", "buffer": b"PK"}
    )
    expect(tab.locator(".sent")).to_have_text(
        "evening.ZIP is no film; it is left out. What is packed must be unpacked first: then drop "
        "the films in it."
    )


def test_a_part_of_a_clip_is_named_with_what_to_do(server: Served, tab: Page) -> None:
    base = server.base
    place = announced(base, "half <b>way.mp4", 200).headers["location"]
    address = f"{urlsplit(base)[0]}://{urlsplit(base)[1]}{place}"
    assert piece(address, 0, bytes(100)).status == 204
    tab.goto(f"{base}/begin")
    expect(tab.locator(".doubt", has_text="way")).to_have_text(
        "half -b-way.mp4 has come to 50 %. Choose it again, and it goes on from there."
    )
