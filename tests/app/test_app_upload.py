"""Clips by pieces: cut off, resumed, refused."""

import errno
import os
import random
import tomllib
from collections.abc import Sequence
from pathlib import Path
from unittest.mock import Mock

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.errors import InputError
from tests.app.asking import announced, ask, piece
from tests.app.conftest import ROOT, Served, start_server
from tracker.session import Draft, DraftClip, draft_toml, parse_session, read_session
from tracker.workflow import begin, incoming
from tracker.workflow.begin import add_clips, also_in, begin_session, refuse_known, sort_out
from tracker.workflow.edit import undo
from tracker.workflow.incoming import (
    Announced,
    Incoming,
    announce,
    append,
    deliver,
    find,
    safe_name,
)

CLIP = ROOT / "sample_clips" / "close" / "clips" / "140mm.mp4"
FILM = CLIP.read_bytes()
MADE_MS = 1_778_000_000_123
"""When the invented phone filmed, ms since 1970."""


def test_a_clip_cut_off_and_resumed_is_byte_by_byte_the_same(server: Served, session: Path) -> None:
    address = server.open(session)
    number = address.rsplit("/", 1)[1]
    begun = announced(server.base, "IMG_0042.MOV", len(FILM), number, MADE_MS)
    assert (begun.status, begun.headers["upload-offset"]) == (201, "0")
    place = f"http://{address.split('/')[2]}{begun.headers['location']}"
    assert piece(place, 0, FILM[:300_000]).headers["upload-offset"] == "300000"
    # The same piece again, as after an answer that got lost; and one that leaves a gap.
    assert piece(place, 0, FILM[:300_000]).status == 409
    assert piece(place, 400_000, FILM[400_000:500_000]).status == 409
    state = ask(place, "HEAD")
    assert state.headers["upload-offset"] == "300000"
    assert state.headers["upload-length"] == str(len(FILM))
    # The page was loaded anew: the same clip goes on where it stopped.
    again = announced(server.base, "IMG_0042.MOV", len(FILM), number, MADE_MS)
    assert again.headers["upload-offset"] == "300000"
    last = piece(place, 300_000, FILM[300_000:])
    assert (last.status, last.headers["upload-offset"]) == (204, str(len(FILM)))
    arrived = session / "clips" / "IMG_0042.MOV"
    assert arrived.read_bytes() == FILM
    assert arrived.stat().st_mtime == pytest.approx(MADE_MS / 1000, abs=0.01)
    assert [clip.file for clip in read_session(session).clips] == [
        "clips/140mm.mp4",
        "clips/IMG_0042.MOV",
    ]
    assert announced(server.base, "IMG_0042.MOV", len(FILM), number, MADE_MS).status == 413
    assert undo(session) == "clip clips/IMG_0042.MOV added"
    assert len(read_session(session).clips) == 1


@pytest.mark.campaign
def test_a_clip_goes_on_after_the_server_was_killed(tmp_path: Path) -> None:
    first = start_server(tmp_path)
    begun = announced(first.base, "evening.mp4", len(FILM), "", MADE_MS)
    host = "/".join(first.base.split("/")[:3])
    piece(f"{host}{begun.headers['location']}", 0, FILM[:1_000_000])
    first.process.kill()
    first.process.wait()
    second = start_server(tmp_path)
    again = announced(second.base, "evening.mp4", len(FILM), "", MADE_MS)
    second.process.kill()
    second.process.wait()
    assert again.headers["upload-offset"] == "1000000"


def test_what_is_no_film_is_refused_and_leaves_nothing(server: Served, session: Path) -> None:
    number = server.open(session).rsplit("/", 1)[1]
    before = (session / "session.toml").read_bytes()
    begun = announced(server.base, "notes.mp4", 7, number)
    host = "/".join(server.base.split("/")[:3])
    answer = piece(f"{host}{begun.headers['location']}", 0, b"no film")
    assert (answer.status, "notes.mp4" in answer.text) == (422, True)
    assert (session / "session.toml").read_bytes() == before
    assert [path.name for path in (session / "clips").iterdir()] == ["140mm.mp4"]


@pytest.mark.parametrize("size", [0, 10**15])
def test_sizes_that_cannot_be_are_refused(server: Served, size: int) -> None:
    assert announced(server.base, "a.mp4", size).status == 413


@pytest.mark.parametrize("into", ["99", "²", "-1", "x"])
def test_a_clip_for_a_session_that_is_not_open_is_refused(server: Served, into: str) -> None:
    answer = announced(server.base, "a.mp4", 100, into)
    assert (answer.status, answer.text) == (
        413,
        f"{into if into == '99' else 0}: no such session is open.",
    )


@pytest.mark.parametrize("at", ["", "-1", "²".encode().decode("latin-1"), "9" * 30, "1e3"])
def test_an_offset_that_is_none_is_refused(server: Served, at: str) -> None:
    begun = announced(server.base, f"a{len(at)}.mp4", 100)
    host = "/".join(server.base.split("/")[:3])
    answer = ask(f"{host}{begun.headers['location']}", "PATCH", b"x", {"Upload-Offset": at})
    assert answer.status == 409


def test_a_phone_cannot_touch_a_clip_for_another_session(
    server: Served, measured: Path, session: Path
) -> None:
    other = server.open(session).rsplit("/", 1)[1]
    begun = announced(server.base, "mine.mp4", 100, other)
    link = server.phone_link(server.open(measured))
    phone = "/".join(link.split("/")[:4])
    place = f"{phone}/upload/{begun.headers['location'].rsplit('/', 1)[1]}"
    assert ask(place, "HEAD").status == 403
    assert piece(place, 0, b"x" * 100).status == 403


def test_a_full_disk_is_said_before_the_first_piece(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(incoming, "SPARE_BYTES", 10**18)
    with pytest.raises(InputError, match="no room on the disk"):
        announce(tmp_path, Announced("a.mp4", 100))


@given(about=st.text(max_size=80))
def test_what_a_film_says_of_itself_stays_a_remark(about: str) -> None:
    clips = [DraftClip("clips/a.mp4", "setup 1", f"1920 x 1080; {about}")]
    text = draft_toml(Draft("evening", clips))
    assert parse_session(text, Path(), filmed=False).clips[0].file == "clips/a.mp4"
    assert tomllib.loads(text) == tomllib.loads(draft_toml(Draft("evening", [PLAIN])))


PLAIN = DraftClip("clips/a.mp4", "setup 1", "")

HOSTILE = [
    "../../etc/passwd",
    "..\\..\\boot.ini",
    "C:\\Users\\me\\film.mp4",
    "<script>alert(1)</script>.mp4",
    'a"b\nc\r\n[release]\nheight_m = 9.mp4',
    "\u202egpm.4pm",
    ".session.toml",
    "session.toml\x00.mp4",
    "con.mp4",
    "x" * 500 + ".mp4",
    "",
    " . ",
    "name without ending",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_name_stays_a_name(server: Served, session: Path, name: str) -> None:
    number = server.open(session).rsplit("/", 1)[1]
    stated = read_session(session)
    begun = announced(server.base, name, len(FILM), number, random.Random(name).randrange(10**12))
    host = "/".join(server.base.split("/")[:3])
    assert piece(f"{host}{begun.headers['location']}", 0, FILM).status == 204
    now = read_session(session)
    (file,) = [clip.file for clip in now.clips if clip.file != "clips/140mm.mp4"]
    assert file == f"clips/{safe_name(name)}"
    assert (session / file).read_bytes() == FILM
    assert (now.release, now.markers, now.setups) == (
        stated.release,
        stated.markers,
        stated.setups,
    )


@pytest.mark.campaign
@given(name=st.text(max_size=150))
def test_every_name_becomes_one_that_stays_in_its_folder(name: str) -> None:
    safe = safe_name(name)
    assert Path(safe).name == safe and safe not in (".", "..")
    assert not set(safe) & set('<>:"/\\|?*') and safe == safe.strip(" ")
    assert all(ord(letter) >= 32 for letter in safe) and len(safe.encode()) <= 140
    assert safe_name(safe) == safe


@given(data=st.data())
def test_pieces_of_any_sizes_make_the_clip(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    folder = tmp_path_factory.mktemp("pieces")
    content = data.draw(st.binary(min_size=1, max_size=400))
    begun = announce(folder, Announced("a.mp4", len(content), MADE_MS))
    at = 0
    while at < len(content):
        step = data.draw(st.integers(1, len(content) - at))
        at = append(find(folder, begun.announced.key), at, content[at : at + step])
    with pytest.raises(InputError, match="more comes than was announced"):
        append(begun, at, b"x")
    (placed,) = deliver([begun], folder / "clips")
    assert placed.read_bytes() == content
    with pytest.raises(InputError, match="is in the session already"):
        refuse_known(folder, begun.announced)
    assert list(folder.glob("*.part")) == []


def test_a_name_of_wide_letters_is_short_enough_for_a_disk(tmp_path: Path) -> None:
    begun = announce(tmp_path, Announced(f"{'春' * 90}.mp4", 1))
    append(begun, 0, b"x")
    (placed,) = deliver([begun], tmp_path / "clips")
    assert placed.name == f"{'春' * 33}.mp4"


def test_a_piece_that_is_sent_twice_at_once_is_there_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun = announce(tmp_path, Announced("a.mp4", 6))
    # Both look how far the clip came before either is written.
    monkeypatch.setattr(Incoming, "received", 0)
    for _ in range(2):
        append(begun, 0, b"abc")
    assert begun.part.read_bytes() == b"abc"


def test_two_clips_that_come_in_at_once_are_both_in_the_session(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    first, second = (announce(tmp_path, Announced(f"{n}.mp4", len(FILM))) for n in (1, 2))
    for each in (first, second):
        append(each, 0, FILM)
    read = begin.films

    def meanwhile(placed: Sequence[Path]) -> Sequence[begin.Film]:
        monkeypatch.setattr(begin, "films", read)
        add_clips(session, [second])
        return read(placed)

    monkeypatch.setattr(begin, "films", meanwhile)
    add_clips(session, [first])
    added = [clip.file for clip in read_session(session).clips[1:]]
    assert added == ["clips/2.mp4", "clips/1.mp4"]


def test_a_clip_that_a_spoilt_session_does_not_take_can_be_sent_again(
    session: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def sent() -> Incoming:
        begun = announce(tmp_path, Announced("1.mp4", len(FILM), MADE_MS))
        if not begun.whole:
            append(begun, 0, FILM)
        return begun

    with monkeypatch.context() as patch, pytest.raises(InputError, match="being changed"):
        patch.setattr(begin.edit, "edit_session", Mock(side_effect=InputError("being changed")))
        add_clips(session, [sent()])
    refuse_known(session, sent().announced)
    add_clips(session, [sent()])
    assert [clip.file for clip in read_session(session).clips[1:]] == ["clips/1.mp4"]


def test_clips_that_an_earlier_session_has_are_said(tmp_path: Path) -> None:
    home = tmp_path / "home"

    def sent(name: str, size: int = len(FILM)) -> Incoming:
        begun = announce(tmp_path / "incoming", Announced(name, size, MADE_MS))
        if not begun.whole:
            append(begun, 0, FILM[:size])
        return begun

    assert also_in(home, [sent("IMG_1.mp4")]) == ""
    first = begin_session(home, [sent("IMG_1.mp4"), sent("IMG_2.mp4")])
    assert f"The session {first.name} has the same clips" in also_in(home, [sent("IMG_2.mp4")])
    assert also_in(home, [sent("IMG_2.mp4"), sent("IMG_3.mp4")]) == ""
    assert also_in(home, [sent("IMG_1.mp4", 1000)]) == also_in(home, []) == ""


def test_a_clip_that_is_no_video_is_named_in_the_notes_of_the_session(tmp_path: Path) -> None:
    begun = announce(tmp_path / "incoming", Announced("Gruppe 1.MOV", len(FILM), MADE_MS))
    append(begun, 0, FILM)
    broken = announce(tmp_path / "incoming", Announced("Gruppe 8 – 140 mm.MOV", 5, MADE_MS))
    append(broken, 0, b"12345")
    good, faults = sort_out([begun, broken])
    assert good == [begun] and faults is not None
    folder = begin_session(tmp_path / "home", good, faults)
    notes = read_session(folder).notes
    assert notes == "left out, no video or damaged: Gruppe 8 – 140 mm.MOV"
    assert begin_session(tmp_path / "home", [again(tmp_path)]) != folder


def test_a_session_that_cannot_be_written_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    full = Mock(side_effect=OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)))
    monkeypatch.setattr(begin, "start_session", full)
    home = tmp_path / "home"
    with pytest.raises(InputError, match=r"no session can be written \(no space left"):
        begin_session(home, [again(tmp_path)])
    assert list(home.iterdir()) == []


def again(tmp_path: Path) -> Incoming:
    begun = announce(tmp_path / "incoming", Announced("IMG_9.mp4", len(FILM), MADE_MS))
    append(begun, 0, FILM)
    return begun


def test_a_clip_that_is_not_whole_is_not_delivered(tmp_path: Path) -> None:
    begun = announce(tmp_path, Announced("a.mp4", 10))
    append(begun, 0, b"12345")
    with pytest.raises(InputError, match="5 of 10 bytes"):
        deliver([begun], tmp_path / "clips")
    assert find(tmp_path, begun.announced.key).received == 5


@pytest.mark.parametrize("key", ["../x", "", "g" * 32, "0" * 32])
def test_a_key_that_nobody_announced_is_unknown(tmp_path: Path, key: str) -> None:
    with pytest.raises(InputError, match="no such clip"):
        find(tmp_path, key)
