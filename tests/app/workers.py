"""Functions that tests run in worker processes."""

import os
import time

from calibration.errors import InputError
from tracker.app.work import Messenger


def adds(messenger: Messenger, first: int, second: int) -> int:
    messenger.progress("a", 1, 4)
    messenger.arrived("one")
    messenger.progress("a", 4, 4)
    messenger.arrived("two")
    return first + second


def complains(_: Messenger) -> None:
    raise InputError("is missing", where="session.toml, [release], height_m", remedy="give one")


def fails(_: Messenger) -> None:
    raise ZeroDivisionError("by nothing")


def dies(_: Messenger) -> None:
    os._exit(3)


def waits(messenger: Messenger) -> None:
    messenger.stage("waiting")
    messenger.arrived(os.getpid())
    time.sleep(60)
