"""Camera, pose and bundle against OpenCV, the reference library of the trade.

The model is that of the OpenCV documentation, "Camera Calibration and 3D Reconstruction"
(calib3d): pinhole, then x'' = x (1 + k1 r2 + k2 r4 + k3 r6) + 2 p1 x y + p2 (r2 + 2 x2), and the
like for y. Figures with ten digits were computed with `cv2.projectPoints`, opencv-python-headless
5.0.0.93, and are held so that a change in either library shows.
"""

import cv2
import numpy as np
import pytest

from calibration.adjustment import adjust
from calibration.camera import Camera, looking_at, rotation_from_vector
from calibration.lens import Lens
from calibration.markers import Marker
from calibration.site import Site, solve

MATRIX = np.array([[1400.0, 0, 960.0], [0, 1400.0, 540.0], [0, 0, 1.0]])
BENDS = np.array([-0.28, 0.09, 0.0012, -0.0008, -0.015])


def _camera(rotation=None, position=(0.0, 0.0, 0.0), bends=BENDS):
    return Camera(
        rotation=np.eye(3) if rotation is None else rotation,
        position=np.asarray(position, float),
        focal_px=1400.0,
        centre_px=np.array([960.0, 540.0]),
        size_px=(1920, 1080),
        distortion=bends,
    )


@pytest.mark.parametrize(
    ("point", "plain", "bent"),
    [
        ((0, 0, 5), (960, 540), (960, 540)),
        ((1, 0.5, 5), (1240, 680), (1236.064075, 678.1440375)),
        ((-1.2, -0.7, 4), (540, 295), (553.4862526219, 303.1484390294)),
        ((2, 1, 6), (1426.6666666667, 773.3333333333), (1409.0921716392, 764.8571969307)),
        ((-2.2, 1.1, 5), (344, 848), (381.5943736291, 829.4738531854)),
    ],
)
def test_points_in_camera_axes(point, plain, bent):
    assert _camera(bends=np.zeros(5)).project([point])[0] == pytest.approx(plain, abs=1e-9)
    assert _camera().project([point])[0] == pytest.approx(bent, abs=1e-9)


def test_points_seen_from_a_pose():
    rotation = rotation_from_vector((0.1, -0.2, 0.05))
    camera = _camera(rotation, -rotation.T @ np.array([0.3, -0.1, 4.0]))
    points = [(0, 0, 0), (1, 0, 0), (0, 1, 0), (1, 1, 0), (0.5, 0.25, 1)]
    expected = [
        (1064.7907187561, 505.0779270813),
        (1375.1201908271, 520.5473024542),
        (1041.0530050033, 841.5433121922),
        (1343.6905463871, 834.0372552251),
        (1118.2936973288, 557.5663431922),
    ]
    assert camera.project(points) == pytest.approx(np.array(expected), abs=1e-9)


def test_projection_equals_project_points_everywhere():
    rng = np.random.default_rng(1)
    for _ in range(20):
        turn, shift = rng.normal(size=3), rng.uniform((-1, -1, 8), (1, 1, 10))
        bends = rng.normal(size=5) * (0.1, 0.05, 0.002, 0.002, 0.01)
        points = rng.uniform(-2.5, 2.5, (30, 3))
        rotation = rotation_from_vector(turn)
        camera = _camera(rotation, -rotation.T @ shift, bends)
        expected, jacobian = cv2.projectPoints(points, turn, shift, MATRIX, bends)
        assert camera.project(points) == pytest.approx(expected.reshape(-1, 2), abs=1e-8)
        _, _, by_camera = camera.project_with_jacobians(points)
        # fx and fy together are the logarithm's derivative; then cx, cy and the distortion.
        focal = 1400.0 * (jacobian[:, 6] + jacobian[:, 7])
        assert by_camera[:, :, 6].ravel() == pytest.approx(focal, abs=1e-6)
        rest = by_camera[:, :, 9:14].reshape(-1, 5)
        assert rest == pytest.approx(jacobian[:, 10:15], abs=1e-6)
        # OpenCV turns the ground's axes, we turn the camera's: the same motion by R times.
        assert by_camera[:, :, 3:6].reshape(-1, 3) == pytest.approx(
            -jacobian[:, 3:6] @ rotation, abs=1e-6
        )


def test_rays_equal_undistort_points():
    rng = np.random.default_rng(2)
    pixels = rng.uniform((200, 100), (1700, 980), (40, 2))
    # The default criteria leave up to 9e-4 px here.
    ends = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 200, 1e-14)
    flat = cv2.undistortPoints(pixels.reshape(-1, 1, 2), MATRIX, BENDS, criteria=ends)
    rays = _camera().rays(pixels)
    assert rays[:, :2] / rays[:, 2:] == pytest.approx(flat.reshape(-1, 2), abs=1e-10)


def test_rodrigues():
    rng = np.random.default_rng(3)
    for scale in (1e-12, 1e-3, 1.0, 3.0):
        turn = scale * rng.normal(size=3)
        assert rotation_from_vector(turn) == pytest.approx(cv2.Rodrigues(turn)[0], abs=1e-12)


def test_ground_plane_is_the_homography():
    camera = looking_at((20.0, -30.0, 3.0), (20.0, 0.0, 0.0), 1400.0, (1920, 1080))
    ground = np.array([[5.0, 0, 0], [35, 0, 0], [35, 12, 0], [5, 12, 0]])
    source = camera.project(ground).astype(np.float32)
    back = cv2.getPerspectiveTransform(source, ground[:, :2].astype(np.float32))
    pixels = np.array([[700.0, 560.0], [1200.0, 590.0]])
    expected = cv2.perspectiveTransform(pixels.reshape(-1, 1, 2), back).reshape(-1, 2)
    assert camera.on_ground(pixels)[:, :2] == pytest.approx(expected, abs=2e-3)


def test_pose_equals_solve_pnp():
    """With a perfect lens, perfect tapes and nothing else the site is OpenCV's PnP problem."""
    rng = np.random.default_rng(4)
    true = looking_at((18.0, -35.0, 2.2), (20.0, 0.0, 2.0), 1400.0, (1920, 1080), roll_rad=0.02)
    ground = np.array([[2.0, 0, 0], [38, 0, 0], [36, 9, 0], [4, 9, 0], [20, 0, 2.0], [25, 4, 1]])
    pixels = true.project(ground) + rng.normal(size=(6, 2))
    lens = Lens(1400.0, true.centre_px, np.zeros(5), 1e-18 * np.eye(8), (1920, 1080))
    markers = tuple(
        Marker(f"{i}", g, 1e-6, p, 1.0) for i, (g, p) in enumerate(zip(ground, pixels, strict=True))
    )
    camera = solve(Site((1920, 1080), markers, lens=lens)).camera
    matrix = np.array([[1400.0, 0, true.centre_px[0]], [0, 1400.0, true.centre_px[1]], [0, 0, 1.0]])
    _, turn, shift = cv2.solvePnP(ground, pixels, matrix, None, flags=cv2.SOLVEPNP_SQPNP)
    turn, shift = cv2.solvePnPRefineLM(ground, pixels, matrix, None, turn, shift)
    rotation = cv2.Rodrigues(turn)[0]
    assert camera.rotation == pytest.approx(rotation, abs=2e-6)
    assert camera.position == pytest.approx(-(rotation.T @ shift).ravel(), abs=2e-4)


def test_bundle_equals_calibrate_camera():
    """The adjustment, given a whole bundle of views, agrees with `cv2.calibrateCamera`."""
    rng = np.random.default_rng(5)
    board = np.array([[x, y, 0.0] for y in range(6) for x in range(8)]) * 0.03
    views, seen = [], []
    for _ in range(9):
        turn = rng.uniform(-0.5, 0.5, 3)
        shift = rng.uniform((-0.25, -0.2, 0.5), (0.05, 0.05, 0.8))
        pixels, _ = cv2.projectPoints(board, turn, shift, MATRIX, BENDS * (0.3, 0.3, 1, 1, 0))
        views.append((turn, shift))
        seen.append((pixels.reshape(-1, 2) + 0.3 * rng.normal(size=(48, 2))).astype(np.float32))
    flags = cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_K3
    rms, matrix, bends, _, _ = cv2.calibrateCamera(
        [board.astype(np.float32)] * 9, seen, (1920, 1080), np.eye(3), np.zeros(5), flags=flags
    )

    def model(state):
        lens, poses = state
        rows, slopes = [], []
        for i, ((rotation, position), pixels) in enumerate(zip(poses, seen, strict=True)):
            camera = Camera(
                rotation, position, np.exp(lens[0]), lens[1:3], (1920, 1080), np.append(lens[3:], 0)
            )
            projected, _, by_camera = camera.project_with_jacobians(board)
            rows.append((pixels - projected).ravel())
            slope = np.zeros((96, 7 + 6 * 9))
            slope[:, :7] = by_camera[:, :, 6:13].reshape(96, 7)
            slope[:, 7 + 6 * i : 13 + 6 * i] = by_camera[:, :, :6].reshape(96, 6)
            slopes.append(slope)
        return np.concatenate(rows), np.vstack(slopes)

    def move(state, step):
        lens, poses = state
        moved = [
            (rotation_from_vector(part[:3]) @ rotation, position + part[3:])
            for (rotation, position), part in zip(poses, step[7:].reshape(9, 6), strict=True)
        ]
        return lens + step[:7], moved

    start = [
        (rotation_from_vector(turn), -rotation_from_vector(turn).T @ shift) for turn, shift in views
    ]
    fit = adjust(
        model, (np.array([np.log(1300.0), 950, 530, 0, 0, 0, 0]), start), np.ones(96 * 9), move=move
    )
    lens = fit.state[0]
    assert fit.settled
    assert np.exp(lens[0]) == pytest.approx(matrix[0, 0], rel=1e-6)
    assert lens[1:3] == pytest.approx(matrix[:2, 2], abs=2e-3)
    assert lens[3:] == pytest.approx(bends.ravel()[:4], abs=2e-5)
    assert np.sqrt(fit.chi_square / (48 * 9)) == pytest.approx(rms, rel=1e-6)
