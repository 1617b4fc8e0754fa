"""Writes docs/commands.md from the command line: ``python -m tests.faces.commands_page``."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import typer

from tracker.cli.program import program

PAGE = Path(__file__).parents[2] / "docs" / "commands.md"

HEAD = """\
# The command `lobmeter`

<!-- Made by `python -m tests.faces.commands_page`; a test fails when it is stale. -->

| exit code | |
| --- | --- |
| 0 | done |
| 1 | done, and something needs a look: a row that is not good, no shot, a decision that fits none |
| 2 | the input is at fault; each fault is a sentence on standard error, and nothing was changed |
| 130 | interrupted; earlier results are whole |

`--json` prints data in place of tables, `--quiet` nothing but faults, `-v` logs each step to
standard error. `lobmeter --install-completion` lets the Tab key complete commands and options.

"""


def page() -> str:
    """Return the whole page."""
    root: Any = typer.main.get_command(program)
    parts = [HEAD, f"{root.help}\n\n", _options(root)]
    for name, command in each_command(root.commands):
        usage = " ".join(["lobmeter", name, *_usage(command)])
        parts.append(f"\n## {name}\n\n```sh\n{usage}\n```\n\n")
        parts.append(_paragraphs(command.help) + "\n")
        parts.append(_options(command))
    parts.append(f"\n{root.epilog}\n")
    return "".join(parts)


def each_command(commands: dict[str, Any]) -> Iterator[tuple[str, Any]]:
    """Give every command with its full name, those of a group one by one."""
    for name, command in commands.items():
        if hasattr(command, "commands"):
            yield from ((f"{name} {inner}", each) for inner, each in each_command(command.commands))
        else:
            yield name, command


def _usage(command: Any) -> list[str]:
    words = []
    for one in command.params:
        name = one.metavar or one.name.upper()
        if one.param_type_name == "argument":
            words.append(f"{name}..." if one.nargs == -1 else name)
        else:
            words.append(f"[{one.opts[0]} {name}]" if not one.is_flag else f"[{one.opts[0]}]")
    return words


def _paragraphs(text: str) -> str:
    blocks = [" ".join(block.split()) for block in text.strip().split("\n\n")]
    return "\n\n".join(blocks) + "\n"


def _options(command: Any) -> str:
    rows = []
    for one in command.params:
        name = one.metavar or one.name.upper()
        shown = name if one.param_type_name == "argument" else ", ".join(one.opts)
        if one.param_type_name != "argument" and not one.is_flag:
            shown += f" {name}"
        rows.append(f"| `{shown}` | {one.help} |\n")
    if not rows:
        return ""
    return "| | |\n| --- | --- |\n" + "".join(rows)


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
