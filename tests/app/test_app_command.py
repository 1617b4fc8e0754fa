"""The command ``lobmeter open``."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from calibration.errors import InputError
from tests.app.asking import ask
from tests.app.conftest import ROOT
from tracker.app import doors as doors_module
from tracker.app.doors import doors


def command(*words: str | Path) -> "subprocess.Popen[str]":
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(
        [sys.executable, "-m", "tracker.cli", "open", "--no-browser", *map(str, words)],
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )


@pytest.mark.skipif(os.name == "nt", reason="Windows sends no SIGINT to one process")
def test_it_prints_a_link_and_ends_with_ctrl_c(session: Path, tmp_path: Path) -> None:
    with command(session, "--folder", tmp_path / "home") as process:
        assert process.stdout is not None and process.stderr is not None
        assert process.stdout.readline() == "The page is open at\n"
        link = process.stdout.readline().strip()
        assert link.endswith("/1/measure")
        assert ask(link).status == 200
        process.send_signal(signal.SIGINT)
        assert process.wait(30) == 0
        assert process.stderr.read() == ""


@pytest.mark.campaign
@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "nowhere: there is no such file or folder; check its name"),
        (["."], "holds no session.toml"),
    ],
)
def test_what_cannot_be_opened_is_said(tmp_path: Path, words: list[str], said: str) -> None:
    with command(*words) as process:
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (2, "")
    assert said in err and "Traceback" not in err


def test_a_taken_port_is_said() -> None:
    first = doors()
    port = first.sockets[0].getsockname()[1]
    with pytest.raises(InputError, match=f"port {port} cannot be used"):
        doors(port)
    first.sockets[0].close()


def test_without_a_network_no_phone_can_come(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doors_module, "UNUSED_ADDRESS", "127.0.0.1")
    with pytest.raises(InputError, match="is in no network"):
        doors(lan=True)


def test_only_the_loopback_listens_unless_a_phone_is_let_in() -> None:
    opened = doors()
    addresses = [each.getsockname()[0] for each in opened.sockets]
    assert (addresses, opened.lan, opened.phone_session) == (["127.0.0.1"], False, None)
    opened.sockets[0].close()


def test_a_phones_link_is_new_for_every_session_and_ends() -> None:
    opened = doors()
    opened.sockets.append(doors_module.bound("127.0.0.1", 0))
    opened.let_in(1)
    first = opened.phone_link("send")
    opened.let_in(1)
    assert opened.phone_link("send") == first
    opened.let_in(2)
    assert opened.phone_link("send") not in (first, opened.link)
    assert len(opened.passes) == 2
    opened.shut()
    assert (opened.phone_session, len(opened.passes)) == (None, 1)
    for each in opened.sockets:
        each.close()
