"""What the system refuses becomes a sentence: a full disk, a folder that may not be written to."""

import errno
import os
from pathlib import Path
from urllib.parse import urlsplit

import pytest

from calibration.errors import InputError
from tests.app.asking import announced, piece
from tests.app.conftest import Served
from tracker.app.workspace import refusals_stated


@pytest.mark.parametrize("code", [errno.ENOSPC, errno.EACCES, errno.EROFS, errno.ENOENT])
def test_a_refusal_of_the_system_is_a_sentence(code: int) -> None:
    def refused() -> None:
        raise OSError(code, os.strerror(code), "/home/club/Lobmeter")

    with pytest.raises(InputError) as raised:
        refusals_stated(refused)
    reason = os.strerror(code).lower()
    assert raised.value.sentences() == [
        f"/home/club/Lobmeter: the system refuses it ({reason}); see that the folder is there, may "
        "be written to, and has room."
    ]


def test_a_refusal_without_a_name_is_a_sentence() -> None:
    def refused() -> None:
        raise OSError("no reason given")

    with pytest.raises(InputError, match=r"the system refuses it \(unknown\)"):
        refusals_stated(refused)


def test_a_piece_that_cannot_be_written_ends_the_sending(server: Served) -> None:
    place = announced(server.base, "no-room.mp4", 200).headers["location"]
    key = place.rsplit("/", 1)[1]
    part = Path(server.home) / ".incoming" / f"{key}.part"
    part.unlink()
    part.mkdir()
    root = urlsplit(server.base)
    answer = piece(f"{root.scheme}://{root.netloc}{place}", 0, bytes(100))
    # Not 409, after which a page tries again.
    assert answer.status == 507
    assert answer.text.startswith("no-room.mp4: cannot be written (")
    part.rmdir()
