"""Reasons are data; their sentences and docs/reasons.md come from one catalogue."""

import string
from dataclasses import replace
from pathlib import Path

import pytest

from tests.tracker.invented_shot import invented, unmeasured
from tracker.records import (
    CATALOGUE,
    FIGURE_OF_COLUMN,
    SHOT_COLUMNS,
    Figure,
    Quality,
    Reason,
    ReasonCode,
    Rejection,
    sentence,
)

PAGE = Path(__file__).parents[2] / "docs" / "reasons.md"
SHOT = invented()[0].shot

HEAD = """# Reasons

Every row that is not `good` and every rejected candidate has reasons. `results/shots.json` holds
them as data, each with its `code` and `numbers`; `results/shots.csv` has them as a sentence. What a
sentence states in numbers stands in braces here. A row of quality `check` counts in comparisons for
every figure that none of its reasons makes doubtful; a `rejected` row counts for none.

| code | sentence | makes doubtful |
| --- | --- | --- |
"""


def page() -> str:
    """The text of docs/reasons.md; write it there after a change of the catalogue."""
    lines = []
    for code, entry in CATALOGUE.items():
        spoiled = [figure.value for figure in Figure if figure in entry.spoils]
        figures = "everything" if len(spoiled) == len(Figure) else ", ".join(spoiled) or "nothing"
        if entry.rejects:
            figures = "everything: the row is `rejected`"
        lines.append(f"| `{code.value}` | {entry.clause} | {figures} |")
    return HEAD + "\n".join(lines) + "\n"


def test_the_page_of_reasons_is_that_of_the_catalogue() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_code_has_an_entry_that_can_be_written() -> None:
    assert set(CATALOGUE) == set(ReasonCode)
    for code, entry in CATALOGUE.items():
        assert entry.phrase and not entry.clause.endswith(".") and not entry.clause[0].isupper()
        assert "; " not in entry.clause
        names = [name for _, name, _, _ in string.Formatter().parse(entry.clause) if name]
        text = Reason(code, dict.fromkeys(names, 12.0)).clause
        assert text and "{" not in text
        assert bool(names) == ("12" in text)


def test_every_measured_column_has_its_figure() -> None:
    measured = {
        name
        for name in SHOT_COLUMNS
        if getattr(SHOT, name) is not None and isinstance(getattr(SHOT, name), float)
    }
    without_u = {name for name in measured if "_u_" not in name} - {"release_s"}
    assert set(FIGURE_OF_COLUMN) == without_u
    assert set(FIGURE_OF_COLUMN.values()) == set(Figure)


def test_a_sentence_joins_clauses_and_begins_with_a_capital() -> None:
    reasons = (Reason(ReasonCode.FEW_FRAMES, {"frames": 7}), Reason(ReasonCode.FIT_NOT_SETTLED))
    assert sentence(reasons) == (
        "The ball was found in only 7 frames; no single flight could be settled on: the fit did "
        "not converge."
    )
    assert sentence(()) == ""
    assert sentence([Reason(ReasonCode.NOTHING_FALLS)]).endswith("the ball show in it?")
    assert str(Rejection(*reasons)) == sentence(reasons)


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [(28.43, 3.26, "28 ± 3"), (28.43, 0.32, "28.4 ± 0.3"), (2.04, 0.01, "2.0 ± 0.1")],
)
def test_a_value_is_written_with_its_uncertainty(value: float, u: float, text: str) -> None:
    reason = Reason(ReasonCode.GRAVITY_IS_SCALE, {"away": value, "away_u": u})
    assert f"the camera stood {text} m from" in reason.clause


def test_a_reason_comes_back_from_what_is_kept_of_it() -> None:
    kept = {"code": "gravity_off", "numbers": {"share": 1.2}}
    assert Reason.read(kept) == Reason(ReasonCode.GRAVITY_OFF, {"share": 1.2})
    by_hand = {"code": "rejected_by_hand", "numbers": {}, "words": "hit the net"}
    assert Reason.read(by_hand).words == "hit the net"


@pytest.mark.parametrize(
    "kept",
    [
        {"code": "ball_melted", "numbers": {}},
        {"code": "gravity_off", "numbers": {"part": 1.2}},
        {"code": "gravity_off", "numbers": {"share": "much"}},
        {"code": "gravity_off", "numbers": []},
    ],
)
def test_a_reason_that_cannot_be_stated_is_refused_when_it_is_read(kept) -> None:
    with pytest.raises(ValueError):
        Reason.read(kept)


@pytest.mark.parametrize(
    ("code", "speed", "carry", "azimuth"),
    [
        (ReasonCode.LANDING_NOT_SEEN, True, False, True),
        (ReasonCode.SPEED_UNCERTAIN, False, True, True),
        (ReasonCode.LOW_SHARE, False, False, False),
        (ReasonCode.GRAVITY_IS_SCALE, True, True, False),
        (ReasonCode.BEGINS_AT_EDGE, False, False, False),
    ],
)
def test_a_row_to_be_checked_counts_where_no_reason_spoils_the_figure(
    code: ReasonCode, speed: bool, carry: bool, azimuth: bool
) -> None:
    doubtful = replace(SHOT, quality=Quality.CHECK, reasons=(Reason(code),))
    columns = ("exit_speed_mps", "carry_m", "azimuth_deg")
    assert [doubtful.counts_for(column) for column in columns] == [speed, carry, azimuth]
    both = replace(doubtful, reasons=(Reason(code), Reason(ReasonCode.LANDING_NOT_SEEN)))
    assert not both.counts_for("carry_m")


def test_good_rows_count_and_rejected_or_unexplained_ones_do_not() -> None:
    unexplained = replace(SHOT, quality=Quality.CHECK, reasons=())
    for column in FIGURE_OF_COLUMN:
        assert replace(SHOT, quality=Quality.GOOD).counts_for(column)
        assert not unmeasured().counts_for(column)
        assert not unexplained.counts_for(column)
