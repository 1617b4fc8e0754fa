"""`review.toml`: what is taken, what is refused, and that no earlier state is lost."""

from dataclasses import replace
from pathlib import Path

import pytest

from calibration.errors import InputError
from tests.tracker.test_session_read import WHOLE
from tracker.session import (
    Decision,
    Place,
    Review,
    Session,
    StatedEnds,
    Verdict,
    parse_review,
    read_review,
    read_session,
    with_added,
    with_decision,
    without_added,
    without_decision,
)

CLIP = "clips/140mm.mp4"
REVIEW = """\
# mine
[[decision]]
clip = "clips/140mm.mp4"   # the only one
release_s = 12.34
verdict = "reject"
reason = "it touched the net"
"""


@pytest.fixture
def session(tmp_path: Path) -> Session:
    text = WHOLE.replace("[[clip]]", '[[setup]]\nname = "100 mm wheels"\n\n[[clip]]')
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    return read_session(tmp_path, filmed=False)


def test_every_field_arrives(session: Session) -> None:
    text = REVIEW + '[[decision]]\nclip = "a.mp4"\nrelease_s = 3\nsetup = "100 mm wheels"\n'
    (session.folder / "review.toml").write_text(text, encoding="utf-8")
    first, second = read_review(session).decisions
    assert (first.clip, first.release_s, first.setup) == (CLIP, 12.34, None)
    assert (first.verdict, first.reason) == (Verdict.REJECT, "it touched the net")
    assert first.where == 'review.toml, line 2, [[decision]] 1 "clips/140mm.mp4"'
    assert (second.verdict, second.setup, second.reason) == (None, "100 mm wheels", "")
    assert first.words == "rejected: it touched the net"
    assert second.words == 'moved to "100 mm wheels"'


def test_decisions_that_a_person_wrote_in_braces_are_gone_on_with(session: Session) -> None:
    text = (
        f'decision = [{{ clip = "{CLIP}", release_s = 1.5, verdict = "reject", reason = "net" }}]'
    )
    more = with_decision(text, Decision(CLIP, 3.0, Verdict.ACCEPT, reason="clear"), None)
    assert [one.reason for one in parse_review(more, session).decisions] == ["net", "clear"]
    assert parse_review(without_decision(text, 0), session) == Review()


def test_no_file_means_no_decision(session: Session) -> None:
    assert read_review(session) == Review()


FAULTS = [
    ('verdict = "reject"', 'verdict = "bad"', ["line 5", "verdict", 'one of "reject", "accept"']),
    ('verdict = "reject"', 'verdit = "reject"', ["line 5", "did you mean verdict?"]),
    ('verdict = "reject"\n', "", ["line 2", "decides nothing", "verdict, setup, or where"]),
    ('verdict = "reject"', 'setup = "100 mm wheel"', ["line 5", "did you mean 100 mm wheels?"]),
    ('reason = "it touched the net"\n', "", ["line 2", "reason: is missing", "say why"]),
    ("release_s = 12.34\n", "", ["release_s: is missing"]),
    ("release_s = 12.34", "release_s = 12,34", ["line 4", "write release_s = 12.34"]),
]


@pytest.mark.parametrize(("before", "after", "words"), FAULTS, ids=[one[1] for one in FAULTS])
def test_each_fault_names_its_place(
    session: Session, before: str, after: str, words: list[str]
) -> None:
    assert before in REVIEW
    with pytest.raises(InputError) as caught:
        parse_review(REVIEW.replace(before, after), session)
    sentences = caught.value.sentences()
    assert any(
        one.startswith("review.toml") and all(part in one for part in words) for one in sentences
    ), sentences


def test_a_change_keeps_comments_and_other_decisions(session: Session) -> None:
    new = Decision(CLIP, 20.5, Verdict.ACCEPT, reason="two of us saw it")
    text = with_decision(REVIEW, new, None)
    assert text.startswith(REVIEW)
    assert [one.release_s for one in parse_review(text, session).decisions] == [12.34, 20.5]
    changed = with_decision(text, Decision(CLIP, 12.34, setup="100 mm wheels"), 0)
    first, second = parse_review(changed, session).decisions
    assert (first.verdict, first.setup, first.reason) == (None, "100 mm wheels", "")
    assert second.reason == "two of us saw it"
    assert "# mine" in changed and "# the only one" in changed
    left = without_decision(changed, 0)
    assert [one.release_s for one in parse_review(left, session).decisions] == [20.5]
    assert parse_review(without_decision(left, 0), session) == Review()


def test_the_first_decision_makes_a_file_that_says_what_it_is(session: Session) -> None:
    text = with_decision("", Decision(CLIP, 1.0, Verdict.REJECT, reason='a "net"'), None)
    assert text.startswith("# Decisions about")
    assert parse_review(text, session).decisions[0].reason == 'a "net"'


STATED = """\
[[decision]]
clip = "clips/140mm.mp4"
release_s = 12.34
landing_m = [24.1, 0.3]
landing_s = 14.6
moved_release_s = 12.36

[[added]]
clip = "clips/140mm.mp4"
places = [[20.1, 310, 540], [20.6, 705.5, 402.0]]
reason = "behind the sign"
"""


def test_stated_ends_and_added_shots_arrive_and_are_written_again(session: Session) -> None:
    review = parse_review(STATED, session)
    (decision,), (added,) = review.decisions, review.added
    assert decision.ends == StatedEnds(landing_m=(24.1, 0.3), landing_s=14.6, moved_release_s=12.36)
    assert decision.ends.landing_u_m == 0.1 and decision.verdict is None
    assert added.places == (Place(20.1, (310.0, 540.0)), Place(20.6, (705.5, 402.0)))
    assert (added.px_u, added.reason) == (2.0, "behind the sign")
    assert added.where.startswith("review.toml, line 8, [[added]] 1")
    text = with_added(with_decision("", decision, None), added)
    again = parse_review(text, session)
    assert replace(again.decisions[0], where="") == replace(decision, where="")
    assert replace(again.added[0], where="") == replace(added, where="")
    assert "px_u" not in text and "landing_u_m" not in text
    assert parse_review(without_added(text, 0), session).added == ()


def test_a_statement_that_is_taken_out_leaves_no_field(session: Session) -> None:
    (decision,) = parse_review(STATED, session).decisions
    less = replace(decision, ends=StatedEnds(landing_px=(5.0, 6.0), landing_px_u=0.5))
    text = with_decision(STATED, less, 0)
    (again,) = parse_review(text, session).decisions
    assert again.ends == less.ends and "landing_m" not in text and "moved" not in text


def test_an_uncertainty_goes_with_its_place_the_usual_one_too() -> None:
    taped = StatedEnds(landing_m=(24.1, 0.3), landing_u_m=0.5, release_px=(1.0, 2.0))
    again = StatedEnds(landing_m=(24.0, 0.2)).after(taped)
    assert (again.landing_m, again.landing_u_m) == ((24.0, 0.2), 0.1)
    assert again.release_px == (1.0, 2.0)
    assert StatedEnds(landing_u_m=0.02).after(taped) == replace(taped, landing_u_m=0.02)
    # One option stands for both pixels: that of an end that is not stated now keeps its own.
    picked = StatedEnds(landing_px=(5.0, 6.0), landing_px_u=9.0, release_px_u=9.0).after(taped)
    assert (picked.landing_px_u, picked.release_px_u, picked.landing_u_m) == (9.0, 2.0, 0.5)


STATED_FAULTS = [
    ("moved_release_s = 12.36", "moved_release_s = 12.7", ["line 6", "0.36 s from release_s"]),
    ("landing_s = 14.6", "landing_s = 12.3", ["line 5", "before the release"]),
    ("landing_m = [24.1, 0.3]", "landing_m = [24.1]", ["line 4", "along, across"]),
    (", [20.6, 705.5, 402.0]]", "]", ["line 10", "2 or more of [time, column, row]"]),
    ("[20.6, 705.5, 402.0]", "[20.6, 705.5]", ["line 10", "time, column, row"]),
    ("[20.6, 705.5, 402.0]", "[20.1, 705.5, 402.0]", ["line 10", "order of time"]),
    ('reason = "behind', 'setup = "no"\nreason = "behind', ["line 11", "no [[setup]]"]),
]


@pytest.mark.parametrize(("before", "after", "words"), STATED_FAULTS, ids=range(7))
def test_each_fault_of_a_statement_names_its_place(
    session: Session, before: str, after: str, words: list[str]
) -> None:
    assert before in STATED
    with pytest.raises(InputError) as caught:
        parse_review(STATED.replace(before, after), session)
    sentences = caught.value.sentences()
    assert any(all(part in one for part in words) for one in sentences), sentences
