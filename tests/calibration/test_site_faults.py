"""What cannot work is reported in a sentence, and blunders are named."""

from dataclasses import replace

import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import Contradiction, InputError
from calibration.lens import Lens
from calibration.markers import Marker, Plumb
from calibration.site import ALARM, Site, solve
from tests.calibration.fields import LAYOUTS, field

CAMERA = looking_at((20.0, -34.0, 1.6), (20.0, 0.0, 3.0), 1500.0, (1920, 1080))
LINE = np.array([[x, 0.0, 0.0] for x in (0.0, 10.0, 20.0, 30.0, 40.0)])


def _site(ground=LINE, camera=CAMERA, **known):
    pixels = camera.project(ground)
    markers = tuple(
        Marker(f"{g[0]:g} m", g, 0.02, p, 1.0) for g, p in zip(ground, pixels, strict=True)
    )
    return Site(camera.size_px, markers, **known)


TAPED = _site(position_m=CAMERA.position)


def _changed(site, i, **change):
    markers = list(site.markers)
    markers[i] = replace(markers[i], **change)
    return replace(site, markers=tuple(markers))


FAULTS = {
    "collinear and nothing else": (_site(), "along one line", "tape the camera's position"),
    "one marker": (
        replace(TAPED, markers=TAPED.markers[:1]),
        "only one marker has a pixel, and 2 are needed",
        "pick more",
    ),
    "none picked": (
        replace(TAPED, markers=tuple(replace(m, pixel=None) for m in TAPED.markers)),
        "no marker has a pixel",
        "pick the others",
    ),
    "two without a position": (
        replace(TAPED, position_m=None, markers=TAPED.markers[:2]),
        "only two have a pixel, and 3 are needed where the camera's position was not taped",
        "pick more",
    ),
    "all at one place": (
        replace(TAPED, markers=tuple(replace(m, ground_m=np.zeros(3)) for m in TAPED.markers)),
        "same place",
        "its own ground_m",
    ),
    "all at one pixel": (
        replace(TAPED, markers=tuple(replace(m, pixel=np.ones(2)) for m in TAPED.markers)),
        "same pixel",
        "pick each",
    ),
    "twice the same name": (_changed(TAPED, 1, name="0 m"), '2 markers have the name "0 m"', ""),
    "outside the frame": (
        _changed(TAPED, 2, pixel=np.array([1920.0, 500.0])),
        "lies outside the frame of 1920 x 1080",
        "pick the marker again",
    ),
    "no uncertainty": (_changed(TAPED, 2, u_m=0.0), "u_m must be above zero", ""),
    "field of view in radians": (
        replace(TAPED, field_of_view_deg=1.2),
        "field_of_view_deg = 1.2 cannot be",
        "in degrees",
    ),
    "field of view all around": (
        replace(TAPED, field_of_view_deg=200.0),
        "field_of_view_deg = 200 cannot be",
        "leave it out",
    ),
    "level without tolerance": (replace(TAPED, level_u_deg=0.0), "level_u_deg", ""),
    "coordinates that are no numbers": (
        _changed(TAPED, 1, ground_m=np.array([np.nan, 0.0, 0.0])),
        "three finite numbers",
        "",
    ),
    "short plumb": (
        replace(TAPED, plumbs=(Plumb("post", (5.0, 5.0), (6.0, 6.0)),)),
        "too close together",
        "lowest and its highest",
    ),
    "picked on a picture turned by a quarter": (
        replace(
            TAPED,
            markers=tuple(
                replace(m, pixel=np.array([1079.0, 0.0]) + (-1, 1) * m.pixel[::-1])
                for m in TAPED.markers
            ),
        ),
        "they were picked on a picture turned by a quarter",
        "lobmeter still",
    ),
    "wrong side": (
        replace(TAPED, position_m=CAMERA.position * (1.0, -1.0, 1.0)),
        "or the markers are named from the wrong end of the line",
        "the camera's across, 34, has the wrong sign",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_fault_is_reported(name):
    site, what, remedy = FAULTS[name]
    with pytest.raises(InputError) as caught:
        solve(site)
    said = str(caught.value)
    assert what in said
    assert remedy in said
    assert len(caught.value.sentences()) == (5 if name == "twice" else 1)


ASIDE = np.array([*LINE, [12.0, -5.0, 0.0], [22.0, 6.0, 0.0]])
MIRROR = np.array([1.0, -1.0, 1.0])


def _every(site: Site, **write) -> Site:
    """Change a field of every marker."""
    return replace(
        site,
        markers=tuple(
            replace(m, **{name: one(getattr(m, name)) for name, one in write.items()})
            for m in site.markers
        ),
    )


def _said(site: Site) -> str:
    """What is said of a site: its suspects, or the error that it raises."""
    try:
        return "; ".join(dict.fromkeys(one.text for one in solve(site).suspects))
    except InputError as error:
        return str(error)


@pytest.mark.parametrize("ground", [LINE, ASIDE], ids=["line", "aside"])
@pytest.mark.parametrize(
    "wrong, text",
    [
        (
            lambda site: _every(site, pixel=lambda px: (px + 0.5) / 2.0 - 0.5),
            "the pixels were picked on a copy of the frame of 960 x 540: multiply them by 2",
        ),
        pytest.param(
            lambda site: _every(site, pixel=lambda px: px / 1.5),
            "the pixels were picked on a copy of the frame of 1280 x 720: multiply them by 1.5",
            marks=pytest.mark.long,
        ),
        (
            lambda site: _every(site, pixel=lambda px: np.array([1919.0, 1079.0]) - px),
            "the pixels were picked on a picture that is upside down",
        ),
        (
            lambda site: replace(site, position_m=site.position_m + 10.0 * np.eye(3)[0]),
            "the camera's taped position does not agree with the markers",
        ),
    ],
    ids=["half size", "two thirds", "upside down", "camera moved along"],
)
def test_a_mistake_of_the_whole_stand_is_named_alone(wrong, text, ground) -> None:
    site = _site(ground, position_m=CAMERA.position, field_of_view_deg=65.2, level_u_deg=1.0)
    assert not solve(site).suspects
    assert _said(wrong(site)).startswith(text)


def test_across_counted_to_the_right_is_told_by_where_it_is_written() -> None:
    site = _site(ASIDE, position_m=CAMERA.position, field_of_view_deg=65.2)
    markers = _every(site, ground_m=lambda place: MIRROR * place)
    assert _said(markers).startswith("across of the markers off the line has the wrong sign")
    both = replace(markers, position_m=MIRROR * CAMERA.position)
    assert _said(both).startswith("across has the wrong sign in the camera's position and in")
    camera = replace(site, position_m=MIRROR * CAMERA.position)
    assert _said(camera).startswith("the camera's across, 34, has the wrong sign")


def test_a_position_hardly_known_is_no_place_to_start_from() -> None:
    site = _site(ASIDE, position_m=CAMERA.position + 8.0)
    assert site.placed and not replace(site, position_u_m=18.0).placed
    loose = solve(replace(site, position_u_m=18.0))
    assert loose.camera.position == pytest.approx(CAMERA.position, abs=1.0)


def test_wrong_side_is_distinguished_from_wrong_order_where_the_camera_stands_aside():
    site = field(LAYOUTS[0], np.random.default_rng(12)).site
    with pytest.raises(InputError) as caught:
        solve(replace(site, position_m=site.position_m * (1.0, -1.0, 1.0)))
    assert "has the wrong sign" in str(caught.value)


def test_markers_behind_the_camera():
    # The position is taped beyond the markers: from there they would lie behind the frame.
    site = replace(TAPED, position_m=np.array([20.0, 0.0, 1.6]))
    with pytest.raises(InputError) as caught:
        solve(site)
    assert "camera" in str(caught.value)


def test_several_faults_come_at_once():
    site = _changed(_changed(TAPED, 1, u_m=-1.0), 2, pixel=np.array([-9.0, 3.0]))
    with pytest.raises(InputError) as caught:
        solve(site)
    assert len(caught.value.sentences()) == 2


def test_lens_of_another_shape():
    lens = Lens(1500.0, (639.5, 359.5), np.zeros(5), np.eye(8) * 1e-4, (1280, 960))
    with pytest.raises(InputError, match="another shape"):
        replace(TAPED, lens=lens)


def test_lens_of_a_pure_resize_is_scaled():
    lens = Lens(1000.0, (639.5, 359.5), np.zeros(5), np.eye(8) * 1e-4, (1280, 720))
    assert replace(TAPED, lens=lens).lens.focal_px == pytest.approx(1500.0)


def test_lens_of_another_camera_is_suspected():
    lens = Lens(1900.0, CAMERA.centre_px, np.zeros(5), np.eye(8) * 1e-5, (1920, 1080))
    solved = solve(replace(TAPED, lens=lens))
    assert "lens" in [suspect.name for suspect in solved.suspects]
    assert any("another camera's" in note for note in solved.notes)


def _noisy(layout, seed):
    return field(layout, np.random.default_rng(seed)).site


@pytest.mark.parametrize(
    "layout",
    [
        LAYOUTS[0],
        *(pytest.param(LAYOUTS[each], marks=pytest.mark.campaign) for each in (1, 3)),
    ],
)
@pytest.mark.parametrize("i", [1, pytest.param(3, marks=pytest.mark.long)])
def test_a_wrong_label_is_named(layout, i):
    site = _noisy(layout, 5)
    wrong = site.markers[i].ground_m + np.array([10.0, 0.0, 0.0])
    site = replace(
        site,
        markers=tuple(
            replace(m, ground_m=wrong) if k == i else m for k, m in enumerate(site.markers)
        ),
    )
    solved = solve(site)
    assert [suspect.name for suspect in solved.suspects] == [f"marker {i}"]
    assert solved.left_out == f"marker {i}"
    assert f"marker {i}" not in solved.markers
    assert solved.p_value > 0.01
    assert "the camera is calibrated without it" in solved.notes[0]


def test_swapped_markers_are_named():
    site = _noisy(LAYOUTS[0], 5)
    markers = list(site.markers)
    markers[1], markers[2] = (
        replace(markers[1], pixel=markers[2].pixel),
        replace(markers[2], pixel=markers[1].pixel),
    )
    solved = solve(replace(site, markers=tuple(markers)))
    assert {suspect.name for suspect in solved.suspects} == {"marker 1", "marker 2"}
    assert any("swapped" in note for note in solved.notes)


def test_swapped_ends_are_named_though_nothing_can_be_solved():
    site = _noisy(LAYOUTS[0], 5)
    markers = list(site.markers)
    markers[0], markers[4] = (
        replace(markers[0], pixel=markers[4].pixel),
        replace(markers[4], pixel=markers[0].pixel),
    )
    with pytest.raises(InputError, match='"marker 0" and "marker 4" are swapped'):
        solve(replace(site, markers=tuple(markers)))


def test_a_mispick_of_twelve_pixels_is_named():
    site = _noisy(LAYOUTS[0], 5)
    markers = list(site.markers)
    markers[2] = replace(markers[2], pixel=markers[2].pixel + np.array([12.0, 3.0]))
    solved = solve(replace(site, markers=tuple(markers)))
    assert [suspect.name for suspect in solved.suspects] == ["marker 2"]
    assert abs(solved.suspects[0].w) > 4.0
    assert solved.left_out == "marker 2"


def test_without_the_wrong_marker_the_camera_is_that_of_the_others():
    site = _noisy(LAYOUTS[0], 5)
    moved = replace(site.markers[2], pixel=site.markers[2].pixel + np.array([60.0, 0.0]))
    solved = solve(replace(site, markers=(*site.markers[:2], moved, *site.markers[3:])))
    alone = solve(replace(site, markers=(*site.markers[:2], *site.markers[3:])))
    assert solved.camera.position == pytest.approx(alone.camera.position)
    assert solved.camera.covariance == pytest.approx(alone.camera.covariance)


def test_where_two_mistakes_explain_it_none_is_chosen():
    # Three markers and a taped position: any one of the three may be the wrong one.
    site = _noisy(LAYOUTS[0], 5)
    moved = replace(site.markers[2], pixel=site.markers[2].pixel + np.array([0.0, 25.0]))
    solved = solve(replace(site, markers=(site.markers[0], moved, site.markers[4])))
    assert solved.left_out == ""
    assert len(solved.suspects) >= 2
    assert "; or " in solved.competing
    assert solved.competing in solved.notes


def test_column_and_row_that_were_swapped_are_named():
    site = _noisy(LAYOUTS[0], 5)
    inside = [m for m in site.markers if m.pixel[0] < 1079]
    turned = replace(inside[-1], pixel=inside[-1].pixel[::-1])
    markers = tuple(turned if m is inside[-1] else m for m in site.markers)
    try:
        said = " ".join(solve(replace(site, markers=markers)).notes)
    except InputError as error:
        said = str(error)
    assert f'column and row of the pixel of marker "{turned.name}" are swapped' in said


def test_a_pixel_outside_the_frame_that_would_fit_turned_is_asked_about():
    site = _changed(TAPED, 4, pixel=TAPED.markers[4].pixel[::-1])
    with pytest.raises(InputError, match="column and row swapped"):
        solve(site)
    with pytest.raises(InputError) as caught:
        solve(_changed(TAPED, 4, pixel=np.array([2500.0, 1500.0])))
    assert "swapped" not in str(caught.value)


@pytest.mark.parametrize(
    ("unit", "metres", "what"),
    [("feet", 0.3048, "position"), ("yards", 0.9144, "position"), ("yards", 0.9144, "markers")],
)
def test_another_unit_beside_metres_is_named(unit, metres, what):
    site = _site(ASIDE, position_m=CAMERA.position, field_of_view_deg=65.2)
    if what == "markers":
        other = tuple(replace(m, ground_m=m.ground_m / metres) for m in site.markers)
        site = replace(site, markers=other)
    else:
        site = replace(site, position_m=site.position_m / metres)
    try:
        said = " ".join(solve(site).notes)
    except InputError as error:
        said = str(error)
    assert f"in {unit}" in said
    assert f"by {metres:g}" in said


def _through_a_wide_lens(k1, **known):
    """Return the site as a lens sees it that bends straight lines."""
    bent = replace(CAMERA, distortion=np.array([k1, 0.0, 0.0, 0.0, 0.0]))
    site = _site(ASIDE, bent, position_m=CAMERA.position, level_u_deg=1.0, **known)
    rng = np.random.default_rng(4)
    picked = tuple(replace(m, pixel=m.pixel + rng.normal(size=2)) for m in site.markers)
    return bent, replace(site, markers=picked)


def test_a_lens_that_bends_lines_is_no_mistake_of_a_marker():
    bent, site = _through_a_wide_lens(-0.2)
    solved = solve(site)
    assert not (solved.suspects or solved.left_out or solved.competing)
    assert "the lens bends straight lines" in solved.notes[0]
    flight = np.array([[x, 0.0, z] for x in (4.0, 20.0, 36.0) for z in (0.5, 6.0)])
    off = np.abs(solved.camera.project(flight) - bent.project(flight))
    assert off.max() < 4.0
    assert solved.p_value > 0.01


def test_a_wrong_label_is_not_explained_by_a_wide_lens():
    _, site = _through_a_wide_lens(0.0)
    moved = site.markers[2].ground_m + np.array([1.0, 0.0, 0.0])
    solved = solve(_changed(site, 2, ground_m=moved))
    assert solved.left_out == site.markers[2].name
    assert not any("bends straight lines" in note for note in solved.notes)


def test_a_lens_that_was_measured_is_not_taken_for_a_wide_one():
    lens = Lens(1500.0, (959.5, 539.5), np.zeros(5), np.eye(8) * 1e-8, (1920, 1080))
    _, site = _through_a_wide_lens(-0.2, lens=lens)
    try:
        said = " ".join(solve(site).notes)
    except InputError as error:
        said = str(error)
    assert "bends straight lines" not in said


SLIPS = {
    "along and across": (lambda g: g[[1, 0, 2]], "along and across of marker"),
    "the sign of across": (lambda g: g * (1.0, -1.0, 1.0), "has the wrong sign"),
    "feet": (lambda g: g / 0.3048, "are in feet"),
}


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_in_one_marker_s_coordinates_is_named_with_the_right_ones(slip):
    write, words = SLIPS[slip]
    # Four markers along the line and one aside of it, which is written down wrongly.
    ground = np.array([*LINE[[0, 1, 3, 4]], [18.0, 6.0, 0.0]])
    site = _changed(_site(ground, position_m=CAMERA.position), 4, ground_m=write(ground[4]))
    solved = solve(site)
    assert [suspect.name for suspect in solved.suspects] == ["18 m"]
    assert words in solved.suspects[0].text
    assert "[18, 6, 0] agrees with the rest" in solved.suspects[0].text
    assert solved.left_out == "18 m"


def test_a_slip_that_changes_nothing_explains_nothing():
    # On the line across is zero whatever its sign; at the origin feet are metres.
    moved = TAPED.markers[0].pixel + np.array([60.0, 0.0])
    solved = solve(_changed(TAPED, 0, pixel=moved))
    assert solved.left_out == "0 m"
    assert "its label, its coordinates or its pixel is wrong" in solved.suspects[0].text


@pytest.mark.parametrize("what", ["markers", "position"])
def test_swapped_axes_are_named(what):
    if what == "markers":
        turned = tuple(replace(m, ground_m=m.ground_m[[1, 0, 2]]) for m in TAPED.markers)
        site, names = replace(TAPED, markers=turned), {m.name for m in turned}
    else:
        aside = looking_at((4.0, -34.0, 1.6), (20.0, 0.0, 3.0), 1200.0, (1920, 1080))
        taped = _site(camera=aside, position_m=aside.position)
        site = replace(taped, position_m=aside.position[[1, 0, 2]])
        names = {"camera position"}
    try:
        found = solve(site).suspects
        said, named = found[0].text, {one.name for one in found}
    except Contradiction as error:
        said, named = error.what, set(error.names)
    assert "along and across are swapped" in said
    assert named == names


def _with_ends_swapped(site):
    first, last = site.markers[0], site.markers[4]
    ends = replace(first, pixel=last.pixel), replace(last, pixel=first.pixel)
    return replace(site, markers=(ends[0], *site.markers[1:4], ends[1]))


def test_a_contradiction_names_its_markers_also_when_it_is_given_a_place():
    with pytest.raises(Contradiction) as caught:
        solve(_with_ends_swapped(_noisy(LAYOUTS[0], 5)))
    moved = caught.value.at("session.toml")
    assert moved.names == caught.value.names == ("marker 0", "marker 4")
    assert moved.where == "session.toml"


def test_without_the_search_for_mistakes_nothing_is_left_out_and_nothing_named():
    site = _noisy(LAYOUTS[0], 5)
    moved = replace(site.markers[2], pixel=site.markers[2].pixel + np.array([60.0, 0.0]))
    wrong = replace(site, markers=(*site.markers[:2], moved, *site.markers[3:]))
    quick = solve(wrong, look_for_mistakes=False)
    assert (quick.suspects, quick.left_out) == ((), "")
    assert len(quick.markers) == 5
    assert quick.p_value < ALARM
    with pytest.raises(InputError) as caught:
        solve(_with_ends_swapped(site), look_for_mistakes=False)
    assert not isinstance(caught.value, Contradiction)


def test_two_markers_cannot_check_each_other_and_that_is_said():
    notes = solve(replace(TAPED, markers=TAPED.markers[1:4:2])).notes
    assert any("cannot check each other" in note for note in notes)


def test_no_false_alarms():
    rng = np.random.default_rng(77)
    suspected = sum(bool(solve(field(LAYOUTS[0], rng).site).suspects) for _ in range(40))
    assert suspected <= 2
