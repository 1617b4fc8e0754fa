"""The doors of the server: its addresses, the link of this machine, and a phone's link."""

import secrets
import socket
from dataclasses import dataclass, field

from calibration.errors import InputError
from tracker.app.guard import Pass

LOOPBACK = "127.0.0.1"
SECRET_BYTES = 24
"""Bytes of a link's secret: 192 bits, beyond guessing (NIST SP 800-63B asks for 64 in a look-up
secret)."""
UNUSED_ADDRESS = "192.0.2.1"
"""An address that no network has (RFC 5737): asking for the way to it sends nothing."""


@dataclass
class Doors:
    """Who can come in by which address.

    Attributes
    ----------
    sockets : list of socket
        The loopback first; the local network's second, where it is let in.
    passes : list of Pass
        What is open now: this machine's first, a phone's second while one is let in.
    """

    sockets: list[socket.socket]
    passes: list[Pass] = field(default_factory=list)

    def __post_init__(self) -> None:
        port = self.sockets[0].getsockname()[1]
        hosts = frozenset({f"{LOOPBACK}:{port}", f"localhost:{port}"})
        self.passes = [Pass(_secret(), hosts)]

    @property
    def link(self) -> str:
        """What the addresses of this machine's pages begin with."""
        return f"http://{_host(self.sockets[0])}{self.passes[0].prefix}"

    @property
    def lan(self) -> bool:
        """Whether the local network is let in at all."""
        return len(self.sockets) > 1

    @property
    def phone_session(self) -> int | None:
        """The number of the session whose page a phone sees; None while none is let in."""
        return self.passes[1].session if len(self.passes) > 1 else None

    def phone_link(self, page: str) -> str:
        """Return the link of a page for the phone that is let in."""
        return f"http://{_host(self.sockets[1])}{self.passes[1].prefix}/{self.phone_session}/{page}"

    def let_in(self, session: int) -> None:
        """Let a phone in to one session; a link given before is worth nothing from then on."""
        if self.phone_session != session:
            self.shut()
            self.passes.append(Pass(_secret(), frozenset({_host(self.sockets[1])}), session))

    def shut(self) -> None:
        """Let no phone in any more."""
        del self.passes[1:]


def doors(port: int = 0, lan: bool = False) -> Doors:
    """Return the doors of a new server.

    Parameters
    ----------
    port : int
        0 takes a free one.
    lan : bool
        Whether the local network gets a door too.

    Raises
    ------
    InputError
        Where the port is taken, or the machine is in no network.
    """
    opened = [bound(LOOPBACK, port)]
    if lan:
        try:
            opened.append(bound(lan_address(), 0))
        except InputError:
            opened[0].close()
            raise
    return Doors(opened)


def lan_address() -> str:
    """Return this machine's address in the local network.

    Raises
    ------
    InputError
        Where it is in none.
    """
    found = LOOPBACK
    try:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
            asked.connect((UNUSED_ADDRESS, 9))
            found = str(asked.getsockname()[0])
    except OSError:
        pass
    if found.startswith("127."):
        remedy = "join a network, for instance the phone's own hotspot"
        raise InputError("this machine is in no network", where="--lan", remedy=remedy)
    return found


def _secret() -> str:
    return secrets.token_urlsafe(SECRET_BYTES)


def _host(listening: socket.socket) -> str:
    address, port = listening.getsockname()[:2]
    return f"{address}:{port}"


def bound(address: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Raises
    ------
    InputError
        Where the port is taken.
    """
    made = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        made.bind((address, port))
    except OSError as error:
        made.close()
        reason = (error.strerror or "unknown").lower()
        raise InputError(
            f"port {port} cannot be used ({reason})", where="--port", remedy="leave it out"
        ) from None
    made.listen()
    return made
