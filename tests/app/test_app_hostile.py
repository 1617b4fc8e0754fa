"""Whatever a session's texts hold, a page shows them and runs nothing of them."""

from collections.abc import Callable
from pathlib import Path

import pytest
import tomlkit
from playwright.sync_api import Page, expect

from tracker.app.registry import pages

Visit = Callable[[Path, str], Page]

SCRIPT = "<img src=x onerror=\"window.hacked='yes'\"><script>window.hacked='yes'</script>"
HOSTILE = (
    SCRIPT,
    "{{ constructor.constructor('window.hacked=1')() }} ${window.hacked=1} v-html",
    "\"'`</textarea></title><svg/onload=window.hacked=1>",
    "javascript:window.hacked=1",
    "line\nbreak\r\n[release]\nheight_m = 77 # \t\u202etxet",
)


def poison(folder: Path, text: str) -> None:
    """Write a text into every field of a measured session that takes one."""
    path = folder / "session.toml"
    document = tomlkit.parse(path.read_text("utf-8"))
    document["name"] = text
    document["notes"] = text
    for number, table in enumerate(document["marker"]):  # type: ignore[arg-type]
        table["name"] = f"{number} {text}"
    document["setup"][0]["name"] = text  # type: ignore[index]
    document["clip"][0]["setup"] = text  # type: ignore[index]
    path.write_text(tomlkit.dumps(document), "utf-8")
    decision = {"clip": "clips/140mm.mp4", "release_s": 0.5, "verdict": "reject", "reason": text}
    review = tomlkit.document()
    review["decision"] = [decision]
    (folder / "review.toml").write_text(tomlkit.dumps(review), "utf-8")


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(text, id=str(number), marks=pytest.mark.campaign)
        for number, text in enumerate(HOSTILE)
    ],
)
def test_a_hostile_text_in_every_field_runs_nothing(
    visit: Visit, measured: Path, text: str
) -> None:
    poison(measured, text)
    # One page a text in turn, all of them with the first: each page meets several.
    shown = [page.path for page in pages()]
    for page in shown if text == SCRIPT else shown[HOSTILE.index(text) :: len(HOSTILE)]:
        tab = visit(measured, page)
        tab.wait_for_timeout(200)
        assert tab.evaluate("window.hacked") is None
        assert tab.locator("img[src=x], main script, svg[onload]").count() == 0
        assert "window.hacked" in tab.title() or "height_m" in tab.title()


def test_a_hostile_clip_of_the_results_is_shown_as_it_is(visit: Visit, measured: Path) -> None:
    path = measured / "results" / "shots.csv"
    rows = path.read_text("utf-8")
    path.write_text(rows.replace("140 mm wheels", '"<b onclick=alert(1)>x</b>"'), "utf-8")
    tab = visit(measured, "measure")
    expect(tab.locator(".lead").first).to_be_visible()
    assert tab.locator("b[onclick]").count() == 0


def test_a_fault_repeats_a_hostile_value_as_text(visit: Visit, measured: Path) -> None:
    path = measured / "session.toml"
    path.write_text(path.read_text("utf-8") + f"\n[ball.{tomlkit.string(SCRIPT).as_string()}]\n")
    tab = visit(measured, "measure")
    expect(tab.locator(".fault").first).to_be_visible()
    assert tab.evaluate("window.hacked") is None
    assert tab.locator("img[src=x]").count() == 0
