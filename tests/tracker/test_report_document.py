"""The report: what it says, that it holds everything it shows, that no name does harm in it."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.tracker.invented_outings import shots_of
from tracker.comparison.compare import compare
from tracker.comparison.setups import SetupShots
from tracker.comparison.words import few_sentences, sentences, spread
from tracker.records import Quality, Reason, ReasonCode
from tracker.report.axes import Scale, label, scale_over
from tracker.report.document import (
    CalibrationFacts,
    InputFile,
    ReportFacts,
    SessionFacts,
    ShotFigures,
    Still,
    report_page,
)
from tracker.report.document.charts import (
    SHAPES,
    landing_map,
    line_of,
    look,
    shares,
    strips,
    trajectories,
    within,
)
from tracker.report.document.curves import curve_of
from tracker.report.document.facts import Curve
from tracker.report.document.printing import paper
from tracker.report.document.stills import STILL_WIDTH_PX, smaller
from tracker.report.document.words import causes_of, headline, headlines, unpredicted, words_of
from tracker.report.rounding import aligned
from tracker.statistics.components import Estimate
from tracker.workflow.report import _assumed

WHEELS = ("100 mm wheels", "140 mm wheels", "180 mm wheels")
HOSTILE = (
    "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>{{ 7919*7919 }}{% raw %}&lt;\u202e]]>"
)
JPEG = cv2.imencode(".jpg", np.full((40, 2000, 3), 90, np.uint8))[1].tobytes()
DOUBT = (Reason(ReasonCode.SPEED_UNCERTAIN, {"limit_percent": 3.0}),)
"""A reason that leaves carry and landing to be compared."""
BUDGET = {"carry_m": {"wind": 0.3, "pixels": 0.4}, "exit_speed_mps": {"lens": 0.1}}


def facts_of(names: tuple[str, ...] = WHEELS, rename: str = "") -> ReportFacts:
    """Facts of setups of five shots; every text of them is `rename` where that is given."""
    setups = []
    for place, name in enumerate(names):
        shots = tuple(
            replace(shot, setup=f"{rename}{place}", clip=rename) if rename else shot
            for shot in shots_of(name, 5)
        )
        title = f"{rename}{place}" if rename else name
        setups.append(SetupShots(title, shots, ("evening",) * 5))
    predicted = {setups[0].name: Estimate(31.0, 0.5)}
    shots = [shot for setup in setups for shot in setup.shots]
    word = rename or "Fen Lane"
    curves = [curve_of(shot, [(0.0, 0.8), (10.0, 5.0), (20.0, 3.0)], word) for shot in shots]
    return ReportFacts(
        sessions=(SessionFacts(word, "2026-05-17", word), SessionFacts(word, "", word)),
        setups=tuple(setups),
        comparisons=tuple(
            compare(setups, quantity, predicted if quantity == "carry_m" else {})
            for quantity in ("carry_m", "exit_speed_mps")
        ),
        shots=tuple(ShotFigures(word, shot, BUDGET) for shot in shots),
        curves=tuple(curve for curve in curves if curve is not None),
        calibrations=(CalibrationFacts((word,), (word,), ((word,) * 4,), JPEG),),
        stills=(Still(word, JPEG),),
        inputs=(InputFile(word, word, word),),
        versions=(word,),
        notes=(word,),
    )


class Page(HTMLParser):
    """Every element with its attributes, and all text, of a page."""

    def __init__(self, text: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data.replace("\u00a0", " "))


@pytest.fixture(scope="module")
def plain() -> Page:
    return Page(report_page(facts_of()))


@pytest.fixture(scope="module")
def hostile() -> Page:
    return Page(report_page(facts_of(rename=HOSTILE)))


def test_a_hostile_name_adds_no_element_and_no_attribute(plain: Page, hostile: Page) -> None:
    assert [tag for tag, _ in hostile.elements] == [tag for tag, _ in plain.elements]
    for (_, given_), (_, usual) in zip(hostile.elements, plain.elements, strict=True):
        assert list(given_) == list(usual)
    assert "script" not in {tag for tag, _ in hostile.elements}


def test_a_hostile_name_is_shown_as_it_is_written(hostile: Page) -> None:
    text = " ".join(hostile.texts)
    assert text.count(HOSTILE) > 20
    assert str(7919 * 7919) not in text


def test_the_page_refers_to_nothing_outside_itself(plain: Page) -> None:
    for tag, attributes in plain.elements:
        assert tag not in {"script", "link", "iframe", "object", "a"}
        for name, value in attributes.items():
            assert not name.startswith("on")
            assert name not in {"href", "srcset", "xlink:href"}
            assert name != "src" or str(value).startswith("data:image/jpeg;base64,")
    assert "http" not in re.sub(r"http-equiv", "", report_page(facts_of()))


def test_the_answer_comes_first_and_every_section_is_there(plain: Page) -> None:
    text = " ".join(" ".join(plain.texts).split())
    heads = ["The answer", "Take care", "Setups side by side", "Flights and landings",
             "Measured against", "Shots", "What the uncertainty comes from", "Calibration",
             "Every shot as the camera saw it", "Method and sources"]  # fmt: skip
    places = [text.index(head) for head in heads]
    assert places == sorted(places)
    best = headline(facts_of().comparisons[0])
    assert places[0] < text.index(best) < places[1]
    assert "nobody in front of the launcher while the wheels can turn" in text


def test_charts_hold_their_words_as_text(plain: Page) -> None:
    svgs = [attributes for tag, attributes in plain.elements if tag == "svg"]
    assert len(svgs) >= 7
    text = " ".join(plain.texts)
    for words in ("carry, m", "landing along the firing line, m", "140 mm wheels, 5 shots"):
        assert words in text


def test_every_shot_has_a_row_with_its_figures(plain: Page) -> None:
    text = " ".join(plain.texts)
    shots = [row.shot for row in facts_of().shots]
    for carry in aligned((shot.carry_m, shot.carry_u_m) for shot in shots):
        assert carry in text
    assert text.count("clips/140mm.mp4") == 5


def test_no_line_of_the_page_parts_a_number_from_its_unit() -> None:
    lead = re.search(r'<p class="lead">(.*?)</p>', report_page(facts_of()))
    assert lead is not None and re.search(r"\d\u00a0m ±\u00a0\d\.\d\u00a0m", lead[1])


def test_the_headline_names_the_setup_ahead_and_only_one_that_is() -> None:
    made = facts_of(WHEELS[:2])
    ahead = '"140 mm wheels" has the greatest carry: 40.7 m'
    assert headline(made.comparisons[0]).startswith(ahead)
    close = [SetupShots(name, tuple(shots_of(WHEELS[1], 5, seed=seed)), ("evening",) * 5)
             for seed, name in enumerate(("first", "second"), start=1)]  # fmt: skip
    assert "No setup is clearly ahead" in headline(compare(close, "carry_m", {}))
    one = headline(compare(close[:1], "carry_m", {}))
    assert re.fullmatch(r'"first": carry [\d.]+ m ± [\d.]+ m, mean of 5 shots\.', one)


def test_of_two_setups_that_are_equal_none_is_ahead_though_a_third_is_behind() -> None:
    far, near = shots_of(WHEELS[1], 5), shots_of(WHEELS[0], 5)
    setups = [
        SetupShots(name, tuple(shots), ("evening",) * 5)
        for name, shots in (("first", far), ("twin", far), ("third", near))
    ]
    assert "No setup is clearly ahead" in headline(compare(setups, "carry_m", {}))


def test_a_shot_to_be_checked_is_open_in_the_charts_and_the_key_says_so() -> None:
    setups = facts_of(WHEELS[:1]).setups
    doubtful = tuple(
        replace(shot, quality=Quality.CHECK, reasons=DOUBT) if place < 2 else shot
        for place, shot in enumerate(setups[0].shots)
    )
    setups = (replace(setups[0], shots=doubtful),)
    made = compare(setups, "carry_m", {})
    for drawn in (str(strips(made, setups)), str(landing_map(made, setups))):
        assert drawn.count('class="open s0"') == 2
        assert drawn.count('class="fill s0"') == 3
    rows = tuple(ShotFigures("", shot) for shot in doubtful)
    page = report_page(replace(facts_of(), setups=setups, comparisons=(made,), shots=rows,
                               curves=()))  # fmt: skip
    assert "open where it is to be checked" in page
    assert "open where it is to be checked" not in report_page(facts_of())


def test_single_shots_are_the_answer_where_there_is_no_mean() -> None:
    first, second = (
        SetupShots(name, tuple(shots_of(name, 1)), ("evening",)) for name in WHEELS[:2]
    )
    made = compare([first], "carry_m", {}), compare([first], "exit_speed_mps", {})
    (shot,) = first.shots
    said = headlines(made, [first])
    assert said[0] == f"Carry {spread(shot.carry_m, 2 * shot.carry_u_m, 'm')}, of one shot."
    assert said[1].startswith("Exit speed ") and "too few shots" in said[2] and len(said) == 3
    (both, _) = headlines([compare([first, second], "carry_m", {})], [first, second])
    assert both.count(' of "') == 2 and both.endswith(", one shot each.")
    bare = replace(second, shots=(replace(second.shots[0], carry_u_m=None),))
    assert "nan" not in headlines([compare([bare], "carry_m", {})], [bare])[0]


def test_where_nothing_was_taped_taping_is_the_remedy() -> None:
    made = facts_of()
    row = replace(made.shots[0], budget={"carry_m": {"release": 1.0}})
    assert "state its u_m" in causes_of(replace(made, shots=(row,)))[0].remedy
    numbers = {"distance_m": 20.0, "before_mps": 1.0, "after_mps": 0.4}
    untaped = (Reason(ReasonCode.TAPE_ONE_DISTANCE, numbers),)
    row = replace(row, shot=replace(row.shot, reasons=untaped))
    assert "tape one distance" in causes_of(replace(made, shots=(row,)))[0].remedy


def test_what_was_assumed_is_in_the_report_once_where_it_holds_for_every_clip() -> None:
    told = {"a.mp4": ("no wind", "dim"), "b.mp4": ("no wind",), "c.mp4": ("no wind", "dim")}
    assumed = _assumed(told)
    assert assumed == ["No wind.", "a.mp4; c.mp4: dim."]
    assert _assumed({"a.mp4": ("lens.toml is old.",)}) == ["lens.toml is old."]
    page = report_page(replace(facts_of(), assumed=tuple(assumed)))
    assert "<li>a.mp4; c.mp4: dim.</li>" in page
    assert "assumed and noticed" not in report_page(facts_of())


@pytest.mark.parametrize(("count", "said"), [(0, "No shot was measured."), (1, "too few shots")])
def test_without_enough_shots_the_headline_says_so(count: int, said: str) -> None:
    setup = SetupShots("first", tuple(shots_of(WHEELS[1], count)), ("evening",) * count)
    assert said in headline(compare([setup], "carry_m", {}))
    row = ShotFigures("", shots_of(WHEELS[1], 1)[0])
    made = replace(
        facts_of(), setups=(setup,), comparisons=(compare([setup], "carry_m", {}),), curves=(),
        shots=(row,) * count, stills=(), calibrations=(), inputs=(),
    )  # fmt: skip
    assert said in report_page(made)


def test_a_shot_that_counts_for_its_speed_alone_is_no_shot_that_was_not_measured() -> None:
    reasons = (Reason(ReasonCode.LANDING_NOT_SEEN),)
    shot = replace(shots_of(WHEELS[1], 1)[0], quality=Quality.CHECK, reasons=reasons)
    setups = [SetupShots("first", (shot,), ("evening",))]
    both = [compare(setups, quantity, {}) for quantity in ("exit_speed_mps", "carry_m")]
    speed, few, carry = headlines(both, setups)
    assert speed.startswith("Exit speed ") and "one shot" in speed
    assert few.startswith("There are too few shots")
    assert carry == "No shot has a carry that counts: 1 to be checked: landing not seen."


def test_sentences_are_apart_by_what_they_are_about() -> None:
    words = words_of(facts_of().comparisons[0])
    assert len(words.answer) == 4
    assert len(words.agreement) == 1
    assert "predicted" in words.agreement[0]
    assert not any("predicted" in said for said in words.answer)


def test_shares_of_the_variance_are_those_of_all_shots_that_count() -> None:
    made = facts_of()
    rejected = replace(
        made.shots[0],
        shot=replace(made.shots[0].shot, quality=Quality.REJECTED),
        budget={"carry_m": {"spin": 100.0}},
    )
    speed, carry = causes_of(replace(made, shots=(rejected, *made.shots)))
    assert speed.parts == (("the lens", 1.0),)
    assert [share for _, share in carry.parts] == pytest.approx([0.64, 0.36])
    assert "nearer" in carry.remedy


@given(st.floats(-1e4, 1e4), st.floats(1e-3, 1e4), st.integers(2, 12))
def test_ticks_are_round_and_within_the_scale(low: float, span: float, most: int) -> None:
    scale = Scale(low, low + span, 0.0, 700.0)
    ticks = scale.ticks(most)
    assert len(ticks) <= most + 1
    assert all(low - 1e-6 * span <= tick <= low + span * (1 + 1e-6) for tick in ticks)
    steps = np.diff(ticks)
    assert np.allclose(steps, steps[:1] if len(steps) else 0.0)


@given(st.lists(st.floats(-50, 50), min_size=1, max_size=20))
def test_a_scale_holds_its_values_between_its_ends(values: list[float]) -> None:
    scale = scale_over(values, 700.0, 10.0)
    for value in values:
        assert 10.0 <= scale.at(value) <= 700.0
    if max(values) - min(values) > 1e-6:
        assert scale.at(min(values)) > scale.at(max(values))


@pytest.mark.parametrize(
    ("value", "step", "text"),
    [(2.5, 2.5, "2.5"), (-5.0, 5.0, "−5"), (-0.0, 1.0, "0"), (0.25, 0.05, "0.25"),
     (7.5, 2.5, "7.5"),
     (-1e-17, 0.5, "0.0"), (200.0, 50.0, "200")],
)  # fmt: skip
def test_a_tick_is_written_as_its_step_needs(value: float, step: float, text: str) -> None:
    assert label(value, step) == text


def test_flights_carry_their_setups_marks_and_stay_within_their_chart() -> None:
    """Also where the ground falls away and they end below the origin's level."""
    seen = ((0.0, 1.0), (10.0, 5.0), (20.0, 2.0))
    curves = [Curve("a", "", seen), Curve("b", "", seen, ((20.0, 2.0), (28.0, -2.0)))]
    drawn = str(trajectories(curves, {"a": 0, "b": 1}))
    height = float(re.search(r'viewBox="0 0 [\d.]+ ([\d.]+)"', drawn)[1])
    assert drawn.count('<circle class="fill s0"') == 1
    assert drawn.count('class="fill s1"') == 1
    lines = re.findall(r'<(?:polyline|path)[^>]*class="path[^>]*', drawn)
    assert len(lines) == 3
    downs = [float(y) for line in lines for y in re.findall(r"[\d.]+[ ,]([\d.]+)", line)]
    # Numbers and words have the last 44 units.
    assert max(downs) <= height - 44.0 + 1e-6


def test_a_flight_goes_on_smoothly_to_its_landing() -> None:
    shot = replace(shots_of(WHEELS[1], 1)[0], landing_along_m=40.0)
    along = np.linspace(0.0, 30.0, 40)
    places = [(float(x), float(0.8 + x - x * x / 39.2)) for x in along]
    curve = curve_of(shot, places, "")
    assert curve is not None
    assert curve.seen == tuple(places)
    assert curve.rest[0] == pytest.approx(places[-1])
    assert curve.rest[-1] == pytest.approx((40.0, 0.0))
    for x, y in curve.rest:
        assert y == pytest.approx(0.8 + x - x * x / 39.2, abs=0.3)
    before = (places[-1][1] - places[-2][1]) / (places[-1][0] - places[-2][0])
    after = (curve.rest[1][1] - curve.rest[0][1]) / (curve.rest[1][0] - curve.rest[0][0])
    assert after == pytest.approx(before, abs=0.12)
    for rise in (-0.05, 0.04):
        sloping = curve_of(shot, places, "", rise)
        assert sloping is not None
        assert sloping.rest[-1] == pytest.approx((40.0, 40.0 * rise))
        assert all(y >= rise * x - 1e-9 for x, y in sloping.rest)
    seen_down = replace(shot, landing_along_m=30.05)
    ended = curve_of(seen_down, places, "")
    assert ended is not None and ended.rest == ()
    assert curve_of(replace(shot, quality=Quality.REJECTED), places, "") is None


def test_the_map_of_landings_keeps_to_the_shots_where_a_region_is_vast() -> None:
    scattered = [
        replace(shot, landing_along_m=30.0 + place, landing_across_m=(-1.0) ** place)
        for place, shot in enumerate(shots_of(WHEELS[1], 3))
    ]
    setups = [SetupShots("first", tuple(scattered), ("evening",) * 3)]
    drawn = str(landing_map(compare(setups, "carry_m", {}), setups))
    xs = [float(x) for x in re.findall(r"([\d.]+),[\d.]+", drawn)]
    assert min(xs) >= 0.0 and max(xs) <= 760.0
    assert drawn.count("<circle") == 3


def test_the_map_of_landings_holds_the_regions_of_many_shots_whole() -> None:
    made = facts_of()
    drawn = str(landing_map(made.comparisons[0], made.setups))
    dashed = re.findall(r'class="thin dashed s\d" points="([^"]*)"', drawn)
    assert len(dashed) == 3
    for points in dashed:
        first, *_, last = points.split()
        assert first == last


def test_no_mark_of_the_map_lies_under_the_words_of_its_scale() -> None:
    made = facts_of()
    drawn = str(landing_map(made.comparisons[0], made.setups))
    words = float(re.search(r'y="([\d.]+)"[^>]*>across, m', drawn)[1])
    marks = [float(y) for y in re.findall(r'class="fill[^>]* cy="([\d.]+)"', drawn)]
    marks += [
        float(y)
        for points in re.findall(r'class="fill s\d" points="([^"]*)"', drawn)
        for y in re.findall(r",([\d.]+)", points)
    ]
    assert len(marks) > 15 and min(marks) > words + 4.0


def test_shares_are_drawn_as_wide_as_the_page_with_their_names_above() -> None:
    drawn = str(shares([("the tape", 0.6), ("pixels", 0.3), ("all others", 0.1)], "carry"))
    assert [float(x) for x in re.findall(r'<text[^>]* x="([\d.]+)"', drawn)] == [0.0] * 3
    assert re.findall(r">([^<]*)</text>", drawn)[0] == "the tape, 60 %"
    bars = [
        tuple(map(float, each))
        for each in re.findall(r'<rect[^>]* y="([\d.]+)" width="([\d.]+)"', drawn)
    ]
    assert [round(width) for _, width in bars] == [760, 380, 127]
    bases = [float(y) for y in re.findall(r'<text[^>]* y="([\d.]+)"', drawn)]
    assert all(base + 4.0 < top for base, (top, _) in zip(bases, bars, strict=True))


def test_a_line_is_cut_to_a_rectangle() -> None:
    line = [(float(x), 5.0) for x in range(-5, 16)]
    (run,) = within(line, (0.0, 0.0), (10.0, 10.0))
    assert run == [(float(x), 5.0) for x in range(11)]
    assert within([(-1.0, 0.0), (-2.0, 0.0)], (0.0, 0.0), (1.0, 1.0)) == []


def test_setups_differ_in_shape_and_in_colour() -> None:
    looks = [look(place) for place in range(24)]
    assert len(set(looks)) == 24
    assert len({shape for _, shape in looks[: len(SHAPES)]}) == len(SHAPES)


def test_pictures_are_made_small_and_what_is_none_is_left_out() -> None:
    small = cv2.imdecode(np.frombuffer(smaller(JPEG), np.uint8), cv2.IMREAD_COLOR)
    assert small is not None
    assert small.shape[:2] == (26, STILL_WIDTH_PX)
    assert smaller(b"") == smaller(b"no picture") == b""


def of_shots(*counts: int, scatter_m: float = 4.0) -> list[SetupShots]:
    """Setups of that many shots, whose scatter outweighs what they share."""
    return [
        SetupShots(
            f"{number} mm",
            tuple(
                replace(shot, carry_m=30.0 + scatter_m * place, landing_across_m=-0.2 * place)
                for place, shot in enumerate(shots_of(WHEELS[1], count))
            ),
            ("evening",) * count,
        )
        for number, count in enumerate(counts)
    ]


@pytest.mark.parametrize(
    ("counts", "said"),
    [
        ((2,), ['The ± of "0 mm" is so wide because of two shots only: shoot three more.']),
        ((3, 4), ['The ± of "0 mm" is so wide because of three shots only: shoot two more.']),
        (
            (2, 2),
            [
                'The ± of "0 mm" and "1 mm" is so wide because of two shots only: shoot three '
                "more of each."
            ],
        ),
        ((4,), []),
        ((1,), []),
    ],
)
def test_few_shots_are_named_as_why_an_interval_is_wide(
    counts: tuple[int, ...], said: list[str]
) -> None:
    made = compare(of_shots(*counts), "carry_m", {})
    assert few_sentences(made) == said
    assert [each for each in sentences(made) if "only: shoot" in each] == said
    assert [each for each in words_of(made).answer if "only: shoot" in each] == said


def test_few_shots_are_not_blamed_for_what_all_shots_share() -> None:
    assert few_sentences(compare(of_shots(3, scatter_m=0.01), "carry_m", {})) == []


def test_a_map_without_regions_is_low_and_its_key_names_none() -> None:
    setups = tuple(of_shots(2))
    made = compare(setups, "carry_m", {})
    height = float(re.search(r'viewBox="0 0 760 ([\d.]+)"', str(landing_map(made, setups)))[1])
    assert height < 200.0
    rows = tuple(ShotFigures("", shot) for shot in setups[0].shots)
    page = report_page(
        replace(facts_of(), setups=setups, comparisons=(made,), shots=rows, curves=())
    )
    assert "full outline" not in page and "From above" in page
    assert "full outline" in report_page(facts_of())


def test_the_one_reason_why_nothing_is_predicted_is_given() -> None:
    value = Estimate(31.0, 0.5)
    reasons = [
        unpredicted(compare(of_shots(*counts), "carry_m", expected))
        for counts, expected in (((1, 1), {}), ((3, 1), {}), ((3, 1), {"1 mm": value}))
    ]
    assert "two shots that count" in reasons[0]
    assert "[setup.wheel]" in reasons[1]
    assert "with two shots or more do not state" in reasons[2]
    assert not any(" or a setup" in each for each in reasons)


def test_the_shares_of_a_figure_are_a_hundred_percent_together() -> None:
    names = ("wind", "pixels", "lens", "spin", "drag", "air", "clock", "place", "angle", "ground")
    budget = {"carry_m": {name: 0.1 + 0.01 * place for place, name in enumerate(names)}}
    made = facts_of()
    (carry,) = causes_of(replace(made, shots=(ShotFigures("", made.shots[0].shot, budget),)))
    assert carry.parts[-1][0] == "all others together"
    assert sum(round(100.0 * share) for _, share in carry.parts) == 100


def test_flights_of_setups_differ_in_dashes_too() -> None:
    assert len({line_of(place).split()[-1] for place in range(4)}) == 4
    curves = [Curve(name, "", ((0.0, 1.0), (9.0, 4.0)), ((9.0, 4.0), (12.0, 0.0))) for name in "ab"]
    drawn = str(trajectories(curves, {"a": 0, "b": 1}))
    for classes in ("path s0 d0", "path s0 d0 rest", "path s1 d1", "path s1 d1 rest"):
        assert drawn.count(f'class="{classes}"') == 1


@pytest.mark.parametrize(
    ("named", "sheet"),
    [("en_GB.UTF-8", "A4"), ("C", "A4"), ("en_US.UTF-8", "Letter"), ("fr_CA@x", "Letter")],
)
def test_the_sheet_is_that_of_the_country(
    monkeypatch: pytest.MonkeyPatch, named: str, sheet: str
) -> None:
    monkeypatch.delenv("LC_ALL", raising=False)
    monkeypatch.setenv("LC_PAPER", named)
    monkeypatch.setenv("LANG", "de_DE.UTF-8" if sheet == "Letter" else "en_US.UTF-8")
    assert paper() == sheet
