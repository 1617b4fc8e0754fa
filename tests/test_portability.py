"""Nothing of the packages needs one system: no call that others lack, no default encoding."""

import ast
import re

import pytest

from tests.house import nodes, parsed, sources

MODULES = {"fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty"}
"""Modules that only POSIX has."""

CALLS = {
    "os": {
        "chown", "fchmod", "fork", "forkpty", "getegid", "geteuid", "getgid", "getloadavg",
        "getpgid", "getuid", "killpg", "mkfifo", "mknod", "nice", "sched_getaffinity", "setsid",
        "statvfs", "sysconf", "uname", "wait", "WIFSIGNALED",
    },
    "signal": {"SIGALRM", "SIGHUP", "SIGKILL", "SIGUSR1", "SIGUSR2", "alarm", "setitimer"},
    "socket": {"AF_UNIX", "SO_REUSEPORT"},
}  # fmt: skip
"""What only POSIX has of modules that every system has (Python's documentation, "Availability")."""

TEXTS = {"read_text": 0, "write_text": 1, "open": 1}
"""Methods of a path that read or write text, and the place of their encoding or mode."""


NAMED = re.compile(rf"\b(?:{'|'.join(MODULES.union(*CALLS.values()))})\b")


def posix_only(text: str) -> list[str]:
    """Return what of a module only POSIX has; a call inside ``if hasattr(...)`` has a fallback."""
    found: list[str] = []
    if not NAMED.search(text):
        return found

    def visit(node: ast.AST, guarded: frozenset[str]) -> None:
        if isinstance(node, ast.Import):
            found.extend(each.name for each in node.names if each.name in MODULES)
        elif isinstance(node, ast.ImportFrom) and node.module in MODULES:
            found.append(node.module)
        elif isinstance(node, ast.Attribute):
            owner = getattr(node.value, "id", "")
            if node.attr in CALLS.get(owner, set()) - guarded:
                found.append(f"{owner}.{node.attr}")
        if isinstance(node, ast.If | ast.IfExp):
            guarded = guarded | {
                str(ast.literal_eval(call.args[1]))
                for call in ast.walk(node.test)
                if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "hasattr"
            }
        for child in ast.iter_child_nodes(node):
            visit(child, guarded)

    visit(parsed(text), frozenset())
    return found


def without_encoding(text: str) -> list[int]:
    """Return the lines where a text is read or written in the encoding of the system."""
    lines: list[int] = []
    if not any(name in text for name in TEXTS):
        return lines
    for node in nodes(text):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else ""
        owner = getattr(node.func, "value", None)
        if name not in TEXTS or getattr(owner, "id", "") in ("av", "os", "webbrowser", "self"):
            continue
        if any(each.arg == "encoding" for each in node.keywords):
            continue
        if name == "open":
            modes = [each for each in node.args[:1] if isinstance(each, ast.Constant)]
            if (node.args and not modes) or (modes and "b" in str(modes[0].value)):
                continue
        elif len(node.args) > TEXTS[name]:
            continue
        lines.append(node.lineno)
    return lines


def test_nothing_needs_posix() -> None:
    assert {name: got for name, text in sources().items() if (got := posix_only(text))} == {}


def test_every_text_has_its_encoding() -> None:
    assert {name: got for name, text in sources().items() if (got := without_encoding(text))} == {}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("import fcntl", ["fcntl"]),
        ("def f():\n  from resource import getrlimit", ["resource"]),
        ("os.fork()", ["os.fork"]),
        ("signal.signal(signal.SIGHUP, f)", ["signal.SIGHUP"]),
        ("if hasattr(os, 'nice'):\n  os.nice(5)", []),
        ("if hasattr(os, 'nice'):\n  os.fork()", ["os.fork"]),
        ("os.replace(a, b)", []),
    ],
)
def test_what_only_posix_has_is_seen(text: str, found: list[str]) -> None:
    assert posix_only(text) == found


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("p.read_text()", [1]),
        ("p.read_text('utf-8')", []),
        ("p.read_text(encoding='utf-8')", []),
        ("p.write_text(text)", [1]),
        ("p.open()", [1]),
        ("p.open('w')", [1]),
        ("p.open('rb')", []),
        ("av.open(name)", []),
    ],
)
def test_a_text_without_encoding_is_seen(text: str, lines: list[int]) -> None:
    assert without_encoding(text) == lines
