"""Markers found by shape and by tag, on pictures whose truth is known."""

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputError
from calibration.markers import Look, Marker, find_standing, find_tags
from calibration.markers.joint import Candidate, Choice, Prediction, doubts
from calibration.markers.matching import silhouette
from calibration.site import Site
from calibration.site.presumed import expected_camera

SIZE = (1280, 720)
FINE = 8


def _camera(sd=1e-3):
    camera = looking_at((20.0, -30.0, 1.7), (20.0, 0.0, 2.0), 860.0, SIZE)
    return camera.with_covariance(np.diag([sd**2] * 3 + [1e-4] * 3 + [1e-6] + [1e-4] * 7))


def _field(rng):
    rough = cv2.resize(rng.normal(size=(90, 160)).astype(np.float32), SIZE)
    fine = cv2.GaussianBlur(rng.normal(size=SIZE[::-1]).astype(np.float32), (0, 0), 1.0) * 3
    shade = 1.0 + 0.10 * rough + 0.06 * fine
    picture = np.empty((SIZE[1], SIZE[0], 3), np.float32)
    picture[:] = (52.0, 128.0, 92.0)
    return np.clip(picture * shade[:, :, None], 0, 255)


def _paint(picture, camera, outline, colour):
    """Paint a shape given by ground points of its outline, edges as a lens would blur them."""
    pixels = camera.project(outline)
    low = np.floor(pixels.min(axis=0)).astype(int) - 4
    high = np.ceil(pixels.max(axis=0)).astype(int) + 5
    mask = np.zeros(((high[1] - low[1]) * FINE, (high[0] - low[0]) * FINE), np.uint8)
    points = np.round(((pixels - low + 0.5) * FINE - 0.5) * 16).astype(np.int32)
    cv2.fillPoly(mask, [points.reshape(-1, 1, 2)], 255, shift=4)
    soft = cv2.GaussianBlur(mask, (0, 0), 0.6 * FINE).astype(np.float32) / 255.0
    cover = cv2.resize(soft, (high[0] - low[0], high[1] - low[1]), interpolation=cv2.INTER_AREA)
    part = picture[low[1] : high[1], low[0] : high[0]]
    part += cover[:, :, None] * (np.array(colour, np.float32) - part)


def _cone(camera, place, height, width):
    toward = camera.position - place
    toward[2] = 0.0
    toward /= np.linalg.norm(toward)
    aside = np.array([-toward[1], toward[0], 0.0])
    angle = np.linspace(0.0, np.pi, 15)
    rim = [place + 0.5 * width * (np.cos(a) * aside + np.sin(a) * toward) for a in angle]
    return np.array([place + np.array([0, 0, height]), *rim])


def _scene(rng, colour, height=0.45, width=0.30, places=(0.0, 10.0, 20.0, 30.0, 40.0)):
    camera = _camera()
    picture = _field(rng)
    markers = []
    for x in places:
        place = np.array([x, 0.0, 0.0])
        _paint(picture, camera, _cone(camera, place, height, width), colour)
        markers.append(Marker(f"{x:g} m", place))
    picture += 2.5 * rng.normal(size=picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8), camera, markers


COLOURS = {
    "orange": (30, 110, 235),
    "red": (35, 30, 190),
    "yellow": (25, 205, 230),
    "blue": (190, 80, 35),
    "white": (235, 235, 235),
    "pink": (150, 70, 225),
}


FEW = ("orange", "white")


@pytest.mark.parametrize(
    "colour",
    [each if each in FEW else pytest.param(each, marks=pytest.mark.long) for each in COLOURS],
)
def test_cones_of_any_colour_are_found_to_less_than_a_pixel(colour):
    picture, camera, markers = _scene(np.random.default_rng(4), COLOURS[colour])
    found = find_standing(picture, camera, markers)
    assert [proposal.name for proposal in found] == [marker.name for marker in markers]
    for proposal, marker in zip(found, markers, strict=True):
        truth = camera.project(marker.ground_m[None, :])[0]
        assert np.abs(proposal.pixel - truth).max() < 0.8
        assert proposal.contrast > 20.0
        assert 0.3 < proposal.pixel_u < 0.6
        assert proposal.doubt == ""


def test_found_though_the_camera_is_known_badly():
    picture, camera, markers = _scene(np.random.default_rng(6), COLOURS["orange"])
    off = camera.perturbed(np.array([0.006, -0.008, 0.003, 0.3, 0.5, 0.05, 0.01, *[0] * 7]))
    wide = off.with_covariance(
        np.diag([0.008**2] * 3 + [0.25] * 3 + [1e-4] + [4.0] * 2 + [1e-6] * 5)
    )
    _all_right(find_standing(picture, wide, markers), camera, markers)


def _all_right(found, camera, markers):
    assert [proposal.name for proposal in found] == [marker.name for marker in markers]
    truth = camera.project([marker.ground_m for marker in markers])
    for proposal, pixel in zip(found, truth, strict=True):
        assert np.abs(proposal.pixel - pixel).max() < 1.0
        assert proposal.doubt == ""


@pytest.mark.parametrize(
    "turn",
    [
        pytest.param((0.03, 0.04), marks=pytest.mark.long),
        pytest.param((0.05, -0.12), marks=pytest.mark.long),
        pytest.param((-0.06, 0.15), marks=pytest.mark.long),
    ],
)
def test_found_before_any_is_picked(turn):
    # From the taped position and the field of view alone: 100 px off and more.
    rng = np.random.default_rng(3)
    level = _camera()
    camera = level.perturbed(np.array([*turn, 0.0, 0.08, -0.06, 0.05, *[0] * 8]))
    picture, markers = _field(rng), []
    for x in (8.0, 14.0, 20.0, 26.0, 32.0):
        place = np.array([x, 0.0, 0.0])
        _paint(picture, camera, _cone(camera, place, 0.45, 0.30), COLOURS["orange"])
        markers.append(Marker(f"{x:g} m", place))
    picture = np.clip(picture + 2.5 * rng.normal(size=picture.shape), 0, 255).astype(np.uint8)
    site = Site(
        SIZE, tuple(markers), position_m=level.position, field_of_view_deg=73.3, level_u_deg=1.0
    )
    expected = expected_camera(site)
    away = expected.project(markers[2].ground_m)[0] - camera.project(markers[2].ground_m)[0]
    assert np.hypot(*away) > 20.0
    _all_right(find_standing(picture, expected, markers), camera, markers)


def test_no_camera_is_expected_where_nothing_says_where_it_stands():
    markers = (Marker("a", (10.0, 0.0, 0.0)),)
    assert expected_camera(Site(SIZE, markers)) is None
    assert expected_camera(Site(SIZE, (), position_m=np.array([10.0, -30.0, 1.5]))) is None


def test_something_else_of_the_same_colour_is_not_taken():
    # A jacket, larger and clearer than any cone, beside where the third one is hidden.
    picture, camera, markers = _scene(np.random.default_rng(5), COLOURS["orange"])
    hidden = camera.project(markers[2].ground_m)[0].round().astype(int)
    cut = picture[hidden[1] - 25 : hidden[1] + 8, hidden[0] - 80 : hidden[0] - 40].copy()
    picture[hidden[1] - 25 : hidden[1] + 8, hidden[0] - 20 : hidden[0] + 20] = cut
    picture[hidden[1] - 60 : hidden[1] - 20, hidden[0] + 40 : hidden[0] + 60] = COLOURS["orange"]
    loose = camera.with_covariance(25.0 * camera.covariance)
    truth = {m.name: camera.project(m.ground_m)[0] for m in markers}
    found = find_standing(picture, loose, markers)
    assert {"0 m", "10 m", "30 m", "40 m"} <= {one.name for one in found if not one.doubt}
    for one in found:
        right = np.abs(one.pixel - truth[one.name]).max() < 2.0
        assert right or one.doubt


@pytest.mark.parametrize("scenes", [2, pytest.param(12, marks=pytest.mark.long)])
def test_uncertainty_is_honest(scenes):
    errors = []
    for seed in range(scenes):
        rng = np.random.default_rng(100 + seed)
        shift = rng.uniform(0, 1)
        places = tuple(x + shift for x in (1.0, 11.0, 21.0, 31.0, 38.0))
        picture, camera, markers = _scene(rng, COLOURS["orange"], places=places)
        for proposal in find_standing(picture, camera, markers):
            marker = next(m for m in markers if m.name == proposal.name)
            truth = camera.project(marker.ground_m[None, :])[0]
            errors.append((proposal.pixel - truth) / proposal.pixel_u)
    assert len(errors) == 5 * scenes
    assert np.sqrt(np.mean(np.square(errors))) < 1.2


def test_a_cone_seen_from_above_stands_on_the_middle_of_its_base_not_on_its_near_rim():
    """From 5 m up and 12 m off the near rim of a base 0.3 m wide is 4 px below its middle."""
    rng = np.random.default_rng(11)
    camera = looking_at((20.0, -12.0, 5.0), (20.0, 0.0, 0.5), 860.0, SIZE).with_covariance(
        _camera().covariance
    )
    picture, markers = _field(rng), []
    for x in (14.0, 17.0, 20.0, 23.0, 26.0):
        place = np.array([x, 0.0, 0.0])
        _paint(picture, camera, _cone(camera, place, 0.45, 0.30), COLOURS["orange"])
        markers.append(Marker(f"{x:g} m", place))
    found = find_standing(np.clip(picture, 0, 255).astype(np.uint8), camera, markers)
    off = [
        proposal.pixel - camera.project(marker.ground_m[None, :])[0]
        for proposal, marker in zip(found, markers, strict=True)
    ]
    assert np.abs(np.mean(off, axis=0)).max() < 1.3
    assert np.abs([gap / one.pixel_u for gap, one in zip(off, found, strict=True)]).max() < 3.0


def test_an_empty_field_proposes_nothing():
    picture = np.clip(_field(np.random.default_rng(8)), 0, 255).astype(np.uint8)
    markers = [Marker(f"{x}", (x, 0.0, 0.0)) for x in (0.0, 10.0, 20.0)]
    assert find_standing(picture, _camera(), markers) == ()


@pytest.mark.parametrize(
    ("strength", "aside_px", "doubted"),
    [(5.9, 7.0, False), (6.1, 7.0, True), (9.0, 5.0, False)],
)
def test_a_choice_that_chance_makes_elsewhere_too_is_doubtful(strength, aside_px, doubted):
    """Three places of a response of ten; three others that agree as well with each other."""
    seen = [Prediction(np.array([100.0 * k, 0.0]), np.zeros((2, 14)), np.eye(2)) for k in range(3)]

    def choice(response, gain, aside):
        chosen = {
            k: Candidate(
                each.pixel + np.array([0.0, aside]),
                0.5,
                np.array([response, 0.0, 0.0]),
                0.0,
                response**2,
            )
            for k, each in enumerate(seen)
        }
        return Choice(chosen, gain, np.zeros(14), np.eye(14))

    choices = [choice(10.0, 300.0, 0.0), choice(strength, 100.0, aside_px)]
    found = doubts(seen, choices, np.eye(14))
    assert found == (dict.fromkeys(range(3), DOUBT_BY_CHANCE) if doubted else {})


DOUBT_BY_CHANCE = "other places in the picture agree nearly as well"


@pytest.mark.long
def test_a_field_of_clutter_proposes_nothing_without_a_doubt():
    """Tufts of the cones' size and colour, and no cone, before a camera hardly known."""
    rng = np.random.default_rng(12)
    picture, camera = _field(rng), _camera()
    for _ in range(60):
        place = np.array([rng.uniform(3.0, 37.0), rng.uniform(-3.0, 20.0), 0.0])
        outline = _cone(camera, place, rng.uniform(0.25, 0.6), rng.uniform(0.2, 0.5))
        _paint(picture, camera, outline, np.array([40.0, 90.0, 110.0]) + rng.normal(0.0, 12.0, 3))
    picture = np.clip(picture, 0, 255).astype(np.uint8)
    markers = [Marker(f"{x}", (x, 0.0, 0.0)) for x in (0.0, 10.0, 20.0, 30.0, 40.0)]
    wide = camera.with_covariance(
        np.diag([0.03**2] * 2 + [0.02**2] + [0.01] * 3 + [4e-4] + [1e-4] * 7)
    )
    found = find_standing(picture, wide, markers)
    assert found and all(one.doubt for one in found)


def test_two_markers_alone_are_proposed_with_a_doubt():
    picture, camera, markers = _scene(np.random.default_rng(4), COLOURS["red"])
    found = find_standing(picture, camera, markers[:2])
    assert len(found) == 2
    assert all("too few markers" in proposal.doubt for proposal in found)


@pytest.mark.parametrize(("top_share", "wide_px"), [(0.2, 5.2), (1.0, 20.0)])
def test_a_shape_tapers_to_its_share_of_the_foot(top_share, wide_px):
    """37 px up a shape of 40 px that is 20 px wide at its foot."""
    shape = silhouette(40.0, 20.0, top_share)
    column, foot = shape.foot.astype(int)
    half = (shape.kernel[0, 0] + shape.kernel[foot - 5, column]) / 2.0
    assert np.sum(shape.kernel[foot - 37] > half) == pytest.approx(wide_px, abs=1.3)


def test_poles_stand_on_their_feet():
    rng = np.random.default_rng(9)
    camera, picture, markers = _camera(), _field(rng), []
    half, top = np.array([0.03, 0, 0]), np.array([0, 0, 2.0])
    for x in (6.0, 14.0, 22.0, 30.0):
        foot = np.array([x, 0.0, 0.0])
        outline = np.array([foot - half, foot + half, foot + half + top, foot - half + top])
        _paint(picture, camera, outline, COLOURS["orange"])
        markers.append(Marker(f"{x:g} m", foot))
    picture = np.clip(picture, 0, 255).astype(np.uint8)
    found = find_standing(picture, camera, markers, Look(2.0, 0.06, top_share=1.0))
    assert len(found) == 4
    for proposal, marker in zip(found, markers, strict=True):
        away = proposal.pixel - camera.project(marker.ground_m[None, :])[0]
        assert np.abs(away).max() < 4.0 * proposal.pixel_u


@pytest.mark.parametrize("dictionary", ["DICT_APRILTAG_36h11", "DICT_4X4_50"])
def test_tags_are_found_by_their_middle(dictionary):
    rng = np.random.default_rng(2)
    tags = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    picture = np.full((600, 800), 120.0)
    truths = {}
    for number, (x, y) in {3: (150.0, 200.0), 7: (480.0, 330.0)}.items():
        printed = cv2.copyMakeBorder(
            cv2.aruco.generateImageMarker(tags, number, 320),
            80,
            80,
            80,
            80,
            cv2.BORDER_CONSTANT,
            value=255,
        ).astype(np.float32)
        source = np.array([[-0.5, -0.5], [479.5, -0.5], [479.5, 479.5], [-0.5, 479.5]], np.float32)
        target = np.array([[x, y], [x + 62, y + 4], [x + 55, y + 58], [x - 3, y + 52]], np.float32)
        warp = cv2.getPerspectiveTransform(source, target)
        truths[number] = cv2.perspectiveTransform(np.array([[[239.5, 239.5]]]), warp)[0, 0]
        big = np.diag([4.0, 4.0, 1.0])
        view = cv2.warpPerspective(printed, big @ warp, (3200, 2400), borderValue=120)
        cover = cv2.warpPerspective(np.ones_like(printed), big @ warp, (3200, 2400))
        small, share = (
            cv2.resize(image, (800, 600), interpolation=cv2.INTER_AREA) for image in (view, cover)
        )
        picture = picture * (1 - share) + small * share
    noisy = np.clip(picture + 2 * rng.normal(size=picture.shape), 0, 255).astype(np.uint8)
    found = find_tags(noisy, {7: "far", 3: "near", 11: "absent"}, dictionary)
    assert [proposal.name for proposal in found] == ["far", "near"]
    for proposal, number in zip(found, (7, 3), strict=True):
        # The supersampled picture's grid is shifted by 3/8 of a pixel against ours.
        assert proposal.pixel == pytest.approx(truths[number] - 0.375, abs=0.25)


def test_unknown_dictionary_is_reported():
    with pytest.raises(InputError, match="no tag dictionary"):
        find_tags(np.zeros((50, 50), np.uint8), {}, "DICT_5")
