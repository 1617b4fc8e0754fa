"""Markers found by colour and by tag, on pictures whose truth is known."""

import cv2
import numpy as np
import pytest

from calibration.camera import looking_at
from calibration.errors import InputError
from calibration.markers import Look, Marker, find_coloured, find_tags

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


@pytest.mark.parametrize(
    ("name", "colour"),
    [
        ("orange", (30, 110, 235)),
        ("red", (35, 30, 190)),
        ("yellow", (25, 205, 230)),
        ("blue", (190, 80, 35)),
        ("white", (235, 235, 235)),
        ("pink", (150, 70, 225)),
    ],
)
def test_cones_are_found_to_less_than_a_pixel(name, colour):
    rng = np.random.default_rng(4)
    picture, camera, markers = _scene(rng, colour)
    found = find_coloured(picture, camera, markers, Look(name, 0.45, 0.30))
    assert [proposal.name for proposal in found] == [marker.name for marker in markers]
    for proposal, marker in zip(found, markers, strict=True):
        truth = camera.project(marker.ground_m[None, :])[0]
        assert np.abs(proposal.pixel - truth).max() < 0.8
        assert proposal.contrast > 6.0
        assert 0.2 < proposal.pixel_u < 1.0


def test_found_though_the_camera_is_known_badly():
    rng = np.random.default_rng(6)
    picture, camera, markers = _scene(rng, (30, 110, 235))
    off = camera.perturbed(np.array([0.006, -0.008, 0.003, 0.3, 0.5, 0.05, 0.01, *[0] * 7]))
    wide = off.with_covariance(
        np.diag([0.008**2] * 3 + [0.25] * 3 + [1e-4] + [4.0] * 2 + [1e-6] * 5)
    )
    found = find_coloured(picture, wide, markers, Look("orange", 0.45, 0.30))
    assert len(found) >= 4
    truth = {m.name: camera.project(m.ground_m[None, :])[0] for m in markers}
    for proposal in found:
        assert np.abs(proposal.pixel - truth[proposal.name]).max() < 1.0


def test_uncertainty_is_honest():
    errors = []
    for seed in range(6):
        rng = np.random.default_rng(100 + seed)
        shift = rng.uniform(0, 1)
        places = tuple(x + shift for x in (1.0, 11.0, 21.0, 31.0, 38.0))
        picture, camera, markers = _scene(rng, (30, 110, 235), places=places)
        for proposal in find_coloured(picture, camera, markers, Look("orange", 0.45, 0.30)):
            marker = next(m for m in markers if m.name == proposal.name)
            truth = camera.project(marker.ground_m[None, :])[0]
            errors.append((proposal.pixel - truth) / proposal.pixel_u)
    assert len(errors) >= 27
    assert np.sqrt(np.mean(np.square(errors))) < 1.3


def test_an_empty_field_proposes_nothing():
    rng = np.random.default_rng(8)
    picture = np.clip(_field(rng), 0, 255).astype(np.uint8)
    markers = [Marker(f"{x}", (x, 0.0, 0.0)) for x in (0.0, 10.0, 20.0)]
    assert find_coloured(picture, _camera(), markers, Look("orange")) == ()


def test_a_pole_stands_on_its_foot_and_a_flag_on_its_staff():
    rng = np.random.default_rng(9)
    camera = _camera()
    picture = _field(rng)
    pole, flag = np.array([12.0, 0.0, 0.0]), np.array([27.0, 0.0, 0.0])
    half = np.array([0.03, 0, 0])
    top = np.array([0, 0, 2.0])
    outline = np.array([pole - half, pole + half, pole + half + top, pole - half + top])
    _paint(picture, camera, outline, (30, 110, 235))
    low, high, wing = np.array([0, 0, 0.5]), np.array([0, 0, 0.75]), np.array([0.15, 0, 0])
    outline = np.array(
        [flag + low - wing, flag + low + wing, flag + high + wing, flag + high - wing]
    )
    _paint(picture, camera, outline, (30, 110, 235))
    picture = np.clip(picture, 0, 255).astype(np.uint8)
    for marker, look in (
        (Marker("pole", pole), Look("orange", 2.0, 0.06)),
        (Marker("flag", flag), Look("orange", 0.25, 0.30, foot_m=0.5)),
    ):
        (proposal,) = find_coloured(picture, camera, [marker], look)
        truth = camera.project(marker.ground_m[None, :])[0]
        assert np.abs(proposal.pixel - truth).max() < 0.9


def test_unknown_colour_is_told():
    with pytest.raises(InputError, match="take one of red, orange"):
        find_coloured(np.zeros((720, 1280, 3), np.uint8), _camera(), [], Look("mauve"))


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


def test_unknown_dictionary_is_told():
    with pytest.raises(InputError, match="no tag dictionary"):
        find_tags(np.zeros((50, 50), np.uint8), {}, "DICT_5")
