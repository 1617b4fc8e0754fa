"""Who is let in, and to what."""

from pathlib import Path
from urllib.parse import urlsplit

import pytest

from tests.app.asking import announced, ask
from tests.app.conftest import Served
from tracker.results.commas import with_decimal_commas
from tracker.session import FieldChange
from tracker.workflow.edit import digest_of, edit_session


def host_of(link: str) -> str:
    return urlsplit(link).netloc


def test_only_the_link_opens_anything(server: Served) -> None:
    host = host_of(server.base)
    secret = server.base.rsplit("/", 1)[1]
    refused = ["/", "/begin", f"/{secret[:-1]}/begin", f"/{secret}x/begin", "/static/page.css"]
    assert [ask(f"http://{host}{path}").status for path in refused] == [404] * len(refused)
    assert ask(server.begin).status == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "evil.example"}, 421),
        ({"Host": "127.0.0.1"}, 421),
        ({"Origin": "http://evil.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "https://OWN"}, 403),
        ({"Origin": "http://OWN"}, 200),
    ],
)
def test_host_and_origin_are_checked(server: Served, headers: dict[str, str], status: int) -> None:
    own = {name: value.replace("OWN", host_of(server.base)) for name, value in headers.items()}
    assert ask(server.begin, headers=own).status == status


def test_another_site_can_send_nothing(server: Served) -> None:
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://evil.example"}):
        answer = ask(f"{server.base}/upload", "POST", headers={"Upload-Length": "5", **headers})
        assert answer.status == 403


def test_a_connection_from_another_site_is_refused(server: Served) -> None:
    headers = {
        "Connection": "Upgrade",
        "Upgrade": "websocket",
        "Sec-WebSocket-Version": "13",
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }
    address = f"{server.base}/_nicegui_ws/socket.io/?EIO=4&transport=websocket"
    assert ask(address, headers={**headers, "Origin": "http://evil.example"}).status == 403
    own = f"http://{host_of(server.base)}"
    refused = ask(address.replace("_nicegui_ws", "x"), headers={**headers, "Origin": own})
    assert refused.status in (403, 404)


def test_what_a_page_may_load_is_stated(server: Served) -> None:
    headers = ask(server.begin).headers
    assert "default-src 'none'" in headers["content-security-policy"]
    assert "http:" not in headers["content-security-policy"]
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["x-frame-options"] == "DENY"
    assert "set-cookie" not in headers


def test_too_much_at_once_is_refused(server: Served) -> None:
    answer = ask(f"{server.base}/upload", "POST", headers={"Content-Length": "99999999999"})
    assert answer.status == 413


TRAVERSALS = (
    "result/..%2fsession.toml",
    "result/%2e%2e%2fsession.toml",
    "result/../session.toml",
    "result/..%5csession.toml",
    "result/shots.csv%00",
    "result/.",
    "clip/99",
    "frame/0/999999",
    "frame/9/0",
)


@pytest.mark.parametrize("path", TRAVERSALS)
def test_no_path_leads_out_of_the_results(server: Served, measured: Path, path: str) -> None:
    answer = ask(f"{server.open(measured)}/{path}")
    assert answer.status == 404
    assert b"[release]" not in answer.body


def test_results_are_served_by_their_own_names(server: Served, measured: Path) -> None:
    base = server.open(measured)
    answer = ask(f"{base}/result/shots.csv")
    assert answer.body == (measured / "results" / "shots.csv").read_bytes()
    assert ask(f"{base}/result/README.txt").status == 404
    commas = ask(f"{base}/result/shots.csv?decimal=comma")
    assert commas.body == with_decimal_commas(answer.body)
    assert commas.body.startswith("\ufeffclip;setup;shot;".encode()) and b"." in commas.body


def test_a_browser_can_seek_in_a_clip(server: Served, measured: Path) -> None:
    clip = (measured / "clips" / "140mm.mp4").read_bytes()
    answer = ask(f"{server.open(measured)}/clip/0", headers={"Range": "bytes=100-199"})
    assert (answer.status, answer.body) == (206, clip[100:200])
    assert answer.headers["content-type"] == "video/mp4"


def test_a_frame_is_a_picture_of_the_width_asked_for(server: Served, measured: Path) -> None:
    base = server.open(measured)
    whole, small = ask(f"{base}/frame/0/10"), ask(f"{base}/frame/0/10?width=320")
    assert (whole.status, small.status) == (200, 200)
    assert whole.body[:2] == small.body[:2] == b"\xff\xd8"
    assert len(small.body) < len(whole.body) / 4
    assert ask(f"{base}/frame/0/11?width=320").body != small.body


def test_a_session_that_names_another_file_serves_it_to_nobody(
    server: Served, session: Path, tmp_path: Path
) -> None:
    (tmp_path / "secret.txt").write_text("secret", "utf-8")
    change = FieldChange(("clip", 0, "file"), "../secret.txt")
    edit_session(session, digest_of(session), "slipped in", [change])
    answer = ask(f"{server.open(session)}/clip/0")
    assert (answer.status, b"secret\n" in answer.body) == (404, False)


def test_a_phone_sees_its_session_and_nothing_else(
    server: Served, measured: Path, session: Path, tmp_path: Path
) -> None:
    mine, other = server.open(measured), server.open(session)
    link = server.phone_link(mine)
    base = link.rsplit("/", 1)[0]
    root = base.rsplit("/", 1)[0]
    assert ask(link).status == 200
    assert ask(f"{base}/result/shots.csv").status == 200
    for path in ("measure", "begin", "phone"):
        assert ask(f"{base}/{path}").status == 404
    assert ask(f"{root}/begin").status == 404
    number = other.rsplit("/", 1)[1]
    for path in ("send", "result/shots.csv", "clip/0", "frame/0/0"):
        assert ask(f"{root}/{number}/{path}").status == 404
    assert announced(root, "a.mp4", 100, number).status == 403
    assert announced(root, "a.mp4", 100).status == 403


def test_secrets_open_only_their_own_door(server: Served, measured: Path) -> None:
    mine = server.open(measured)
    link = server.phone_link(mine)
    swapped = link.replace(host_of(link), host_of(server.base))
    assert ask(swapped).status == 404
    assert ask(server.begin.replace(host_of(server.base), host_of(link))).status == 404


def test_a_phone_does_not_get_a_clip_from_outside_the_session(
    server: Served, session: Path, tmp_path: Path
) -> None:
    (session / "clips" / "140mm.mp4").replace(tmp_path / "mine.mp4")
    change = FieldChange(("clip", 0, "file"), "../mine.mp4")
    edit_session(session, digest_of(session), "elsewhere", [change])
    address = server.open(session)
    assert ask(f"{address}/clip/0").status == 200
    phone = server.phone_link(address).rsplit("/", 1)[0]
    assert ask(f"{phone}/clip/0").status == 404


def test_a_new_code_ends_the_one_before(server: Served, measured: Path, session: Path) -> None:
    first = server.phone_link(server.open(measured))
    assert ask(first).status == 200
    server.phone_link(server.open(session))
    assert ask(first).status == 404
