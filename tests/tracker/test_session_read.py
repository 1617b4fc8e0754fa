"""`session.toml` as a person writes it: what is taken, and what is reported back."""

import math
import re
from datetime import date
from pathlib import Path

import pytest

from calibration.errors import InputError, typed
from tracker.session import read_session

WHOLE = """\
name = "Fen Lane, first wheel trial"
date = 2026-05-17
notes = "overcast, light breeze from the left"

[ball]
type = "tennis"
mass_g = 57.7
diameter_mm = 66.0
drag_coefficient = 0.55

[air]
temperature_c = 18.0
pressure_hpa = 1012.0
humidity_percent = 60.0
wind_along_mps = 0.5
wind_across_mps = 0.0
wind_u_mps = 0.5

[release]
height_m = 0.80
along_m = 0.0
across_m = 0.0
u_m = 0.03
angle_deg = 42.0

[camera]
field_of_view_deg = 69.0
field_of_view_u_deg = 0.7
position_m = [20.0, -38.0, 1.4]
position_u_m = 0.10
capture_fps = 240.0
readout_s = 0.010
level = true
level_u_deg = 1.0

[[marker]]
name = "20 m cone"
ground_m = [20.0, 0.0, 0.0]
u_m = 0.02
pixel = [961.0, 702.5]
pixel_u = 1.0

[[marker]]
name = "30 m cone"
ground_m = [30, 0, 0]

[[setup]]
name = "140 mm wheels"
[setup.wheel]
diameter_mm = 140.0
mass_g = 210.0
[setup.motor]
supply_v = 12.0

[[clip]]
file = "clips/140mm.mp4"
setup = "140 mm wheels"
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    session = tmp_path / "fen lane"
    (session / "clips").mkdir(parents=True)
    (session / "clips" / "140mm.mp4").write_bytes(b"not read here")
    (session / "clips" / "second.mp4").write_bytes(b"not read here")
    return session


def written(folder: Path, text: str) -> Path:
    (folder / "session.toml").write_bytes(text.encode("utf-8"))
    return folder


def complaints(folder: Path, text: str) -> list[str]:
    with pytest.raises(InputError) as caught:
        read_session(written(folder, text))
    return caught.value.sentences()


def test_every_field_of_formats_arrives(folder: Path) -> None:
    session = read_session(written(folder, WHOLE))
    assert session.name == "Fen Lane, first wheel trial"
    assert session.date == date(2026, 5, 17)
    assert session.notes == "overcast, light breeze from the left"
    ball = session.ball
    assert (ball.type, ball.mass_g, ball.diameter_mm, ball.drag_coefficient) == (
        "tennis",
        57.7,
        66.0,
        0.55,
    )
    air = session.air
    assert (air.temperature_c, air.pressure_hpa, air.altitude_m) == (18.0, 1012.0, None)
    assert (air.humidity_percent, air.wind_along_mps, air.wind_across_mps) == (60.0, 0.5, 0.0)
    assert air.wind_u_mps == 0.5
    assert (session.release.height_m, session.release.angle_deg) == (0.8, 42.0)
    camera = session.camera
    assert camera.position_m == (20.0, -38.0, 1.4)
    assert (camera.field_of_view_deg, camera.field_of_view_u_deg) == (69.0, 0.7)
    assert (camera.capture_fps, camera.readout_s, camera.level) == (240.0, 0.010, True)
    first, second = session.markers
    assert (first.name, first.ground_m, first.pixel) == (
        "20 m cone",
        (20.0, 0.0, 0.0),
        (961.0, 702.5),
    )
    assert second.ground_m == (30.0, 0.0, 0.0)
    assert session.setup("140 mm wheels").parts == {
        "wheel": {"diameter_mm": 140.0, "mass_g": 210.0},
        "motor": {"supply_v": 12.0},
    }
    (clip,) = session.clips
    assert clip.path == folder / "clips" / "140mm.mp4"
    assert clip.markers == session.markers


def test_what_is_left_out_takes_the_default(folder: Path) -> None:
    text = """
[release]
height_m = 1
[[marker]]
name = "a"
ground_m = [1, 2, 3]
[[setup]]
name = "s"
[[clip]]
file = "clips/140mm.mp4"
setup = "s"
"""
    session = read_session(written(folder, text))
    assert session.name == "fen lane"
    assert (session.date, session.notes) == (None, "")
    assert (session.ball.type, session.ball.mass_g) == ("tennis", None)
    assert (session.release.along_m, session.release.across_m, session.release.u_m) == (0, 0, 0.03)
    assert session.camera.position_m is None
    assert session.camera.level is False
    marker = session.markers[0]
    assert (marker.u_m, marker.pixel, marker.pixel_u) == (0.02, None, 1.0)


def test_a_byte_order_mark_and_windows_line_ends_change_nothing(folder: Path) -> None:
    plain = read_session(written(folder, WHOLE))
    text = "\ufeff" + WHOLE.replace("\n", "\r\n")
    assert read_session(written(folder, text)) == plain


def test_the_file_itself_may_be_given_in_place_of_its_folder(folder: Path) -> None:
    session = read_session(written(folder, WHOLE) / "session.toml")
    assert session.folder == folder


def test_a_clip_with_markers_of_its_own_uses_those(folder: Path) -> None:
    text = WHOLE + (
        '[[clip.marker]]\nname = "30 m cone"\npixel = [5, 6]\n'
        '[[clip.marker]]\nname = "gate"\nground_m = [3, 4, 0]\npixel = [7, 8]\n'
        '[[clip]]\nfile = "clips/second.mp4"\nsetup = "140 mm wheels"\n'
    )
    first, second = read_session(written(folder, text)).clips
    assert [marker.name for marker in first.markers] == ["30 m cone", "gate"]
    assert first.markers[0].ground_m == (30.0, 0.0, 0.0)
    assert first.markers[0].pixel == (5.0, 6.0)
    assert [marker.name for marker in second.markers] == ["20 m cone", "30 m cone"]


FAULTS = [
    ("height_m = 0.80", "hight_m = 0.80", ["[release], hight_m", "line 20", "mean height_m?"]),
    ("height_m = 0.80\n", "", ["[release], height_m", "is missing", "line 19"]),
    ("height_m = 0.80", 'height_m = "0.80"', ["[release], height_m", "is not a number", "quotes"]),
    ("height_m = 0.80", "height_m = true", ["[release], height_m", "true is not a number"]),
    ("height_m = 0.80", "height_m = nan", ["[release], height_m", "out of range"]),
    ("height_m = 0.80", "height_m = -1.0", ["[release], height_m", "-1.0 is out of range"]),
    ("u_m = 0.03", "u_m = 0.0", ["[release], u_m", "out of range"]),
    ("field_of_view_deg = 69.0", "field_of_view_deg = 4.9", ["[camera]", "give 5 to 150"]),
    ("field_of_view_deg = 69.0", "field_of_view_deg = 171", ["[camera]", "give 5 to 150"]),
    ("[20.0, -38.0, 1.4]", "[20.0, -38.0]", ["[camera], position_m", "along, across, up"]),
    ("[20.0, -38.0, 1.4]", '"behind"', ["[camera], position_m", "is not 3 numbers"]),
    ("level = true", 'level = "yes"', ["[camera], level", "neither true nor false"]),
    ("date = 2026-05-17", 'date = "17 May"', ["date", "is not a date", "line 2"]),
    ("notes =", "note =", ["session.toml, line 3, note:", "did you mean notes?"]),
    ("[air]", "[aer]", ["session.toml, line 11, [aer]:", "did you mean [air]?"]),
    ("pressure_hpa = 1012.0", "pressure_hpa = 1012.0\naltitude_m = 3", ["[air], altitude_m"]),
    ('type = "tennis"\nmass_g = 57.7', 'type = "custom"', ["[ball], mass_g", "all three"]),
    ('"tennis"', '"tenis"', ["[ball], type", "ball table", "baseball", "line 6"]),
    ("pixel = [961.0, 702.5]", "pixel = [961.0]", ['[[marker]] 1 "20 m cone", pixel', "column"]),
    ("pixel = [961.0, 702.5]", "pixle = [961.0, 702.5]", ["[[marker]] 1", "line 40", "pixel?"]),
    ("ground_m = [30, 0, 0]", "", ['[[marker]] 2 "30 m cone", ground_m', "is missing"]),
    ('name = "30 m cone"', 'name = "20 m cone"', ["[[marker]] 2", "two markers", "line 44"]),
    ('name = "30 m cone"', 'name = ""', ["[[marker]] 2", "is empty"]),
    ("supply_v = 12.0", "supply_v = [12.0]", ["[[setup]] 1", "[setup.motor], supply_v", "line 53"]),
    ("mass_g = 210.0", "mass_gr = 210.0", ["[setup.wheel], mass_gr", "line 51", "mean mass_g?"]),
    ("diameter_mm = 140.0", "diameter_mm = 14.0", ["[setup.wheel], diameter_mm", "15 to 1500"]),
    ("supply_v = 12.0", "supply_u_v = -1.0", ["[setup.motor], supply_u_v", "at least 0"]),
    ("[setup.motor]", "[setup.moter]", ["line 52", "[setup.moter]", "mean [setup.motor]?"]),
    ("mass_g = 210.0", 'kind = "round"', ["[setup.wheel], kind", '"disc"', "line 51"]),
    ('name = "140 mm wheels"\n[', 'nam = "140 mm wheels"\n[', ["[[setup]] 1, nam:", "mean name?"]),
    ('setup = "140 mm wheels"', 'setup = "140 mm"', ["[[clip]] 1", "setup", "140 mm wheels"]),
    (
        "140mm.mp4",
        "141mm.mp4",
        ['[[clip]] 1 "clips/141mm.mp4", file', "there is no file", "did you mean clips/140mm.mp4?"],
    ),
    ("clips/140mm.mp4", "clips", ["[[clip]] 1", "is a folder"]),
    ("clips/140mm.mp4", "/clips/140mm.mp4", ["[[clip]] 1", "not relative"]),
    ("clips/140mm.mp4", "C:/clips/140mm.mp4", ["[[clip]] 1", "not relative"]),
]


@pytest.mark.parametrize(("before", "after", "words"), FAULTS, ids=[fault[1] for fault in FAULTS])
def test_each_fault_is_one_sentence_with_file_and_field(
    folder: Path, before: str, after: str, words: list[str]
) -> None:
    assert before in WHOLE
    sentences = complaints(folder, WHOLE.replace(before, after, 1))
    matching = [one for one in sentences if all(part in one for part in words)]
    assert len(matching) == 1, sentences
    assert matching[0].startswith("session.toml, line ")
    assert matching[0].endswith((".", "?"))
    assert "\n" not in matching[0]


def test_all_faults_are_reported_at_once_in_the_order_of_their_lines(folder: Path) -> None:
    text = (
        WHOLE.replace("notes", "note")
        .replace("u_m = 0.03", "u_m = 'x'")
        .replace("= 12.0", "= true")
    )
    sentences = complaints(folder, text)
    lines = [int(one.split("line ")[1].split(",")[0]) for one in sentences]
    assert len(sentences) == 3
    assert lines == sorted(lines)


def test_a_session_without_clips_says_so(folder: Path) -> None:
    (sentence,) = complaints(folder, WHOLE.split("[[clip]]")[0])
    assert "[[clip]]" in sentence


def test_a_clip_that_stands_twice_is_reported(folder: Path) -> None:
    (sentence,) = complaints(folder, WHOLE + "[[clip]]" + WHOLE.split("[[clip]]")[1])
    assert '[[clip]] 2 "clips/140mm.mp4", file' in sentence


def test_a_backslash_in_a_file_name_is_explained(folder: Path) -> None:
    text = WHOLE.replace('"clips/140mm.mp4"', r"'clips\141mm.mp4'")
    (sentence,) = complaints(folder, text)
    assert "write / between" in sentence


SLIPS = [
    ("height_m = 0.80", "height_m = 0,80", "line 20, height_m", "write height_m = 0.80"),
    ("height_m = 0.80", "height_m = 2 ft 7 in", "line 20, height_m", "write height_m = 0.7874"),
    ("height_m = 0.80", "height_m = .8", "line 20, height_m", "write height_m = 0.8"),
    ("height_m = 0.80", "height_m = 80 cm", "line 20, height_m", "write height_m = 0.8"),
    ("height_m = 0.80", "height_m = 2,5 ft", "line 20, height_m", "write height_m = 0.762"),
    ("height_m = 0.80", "height_m = 0.80 m", "line 20, height_m", "write height_m = 0.80"),
    ("height_m = 0.80", "height_m 0.80", "line 20, height_m", "write height_m = 0.80"),
    ("height_m = 0.80", "height_m: 0.80", "line 20, height_m", "write height_m = 0.80"),
    ("height_m = 0.80", "height_m =", "line 20, height_m", "or leave the line out"),
    ("angle_deg = 42.0", "angle_deg = 39°", "line 24, angle_deg", "write angle_deg = 39"),
    ("wind_along_mps = 0.5", "wind_along_mps = 9 km/h", "line 15", "write wind_along_mps = 2.5"),
    ("level = true", "level = yes", "line 33, level", "write level = true"),
    ("level = true", "level = False", "line 33, level", "write level = false"),
    ('type = "tennis"', "type = “tennis”", "line 6, type", 'write type = "tennis"'),
    ('type = "tennis"', "type = „tennis“", "line 6, type", 'write type = "tennis"'),
    ('type = "tennis"', 'type = "tennis', "line 6, type", 'write type = "tennis"'),
    (
        'file = "clips/140mm.mp4"',
        "file = clips/140mm.mp4",
        "line 56, file",
        'write file = "clips/140mm.mp4"',
    ),
    (
        'file = "clips/140mm.mp4"',
        'file = "clips\\140mm.mp4"',
        "line 56, file",
        'write file = "clips/140mm.mp4"',
    ),
    ("date = 2026-05-17", "date = 08.05.2026", "line 2, date", "write date = 2026-05-08"),
    ("date = 2026-05-17", "date = 2026-5-8", "line 2, date", "write date = 2026-05-08"),
    ("date = 2026-05-17", "date = 31.02.2026", "line 2, date", "year, month and day"),
    ("[20.0, -38.0, 1.4]", "20.0, -38.0, 1.4", "line 29", "position_m = [20.0, -38.0, 1.4]"),
    ('type = "tennis"', "type = 2 mm foam", "line 6, type", 'write type = "2 mm foam"'),
    ("[20.0, -38.0, 1.4]", "[20.0; -38.0; 1.4]", "line 29", "position_m = [20.0, -38.0, 1.4]"),
    ("[20.0, -38.0, 1.4]", "[20.0, -38.0, 1.4", "line 29", "position_m = [20.0, -38.0, 1.4]"),
    ("[release]", "[release", "line 19", "write [release]"),
    ("[[setup]]", "[[setup]", "line 47", "write [[setup]]"),
    (
        "height_m = 0.80",
        "height_m = 0.80\nheight_m = 0.90",
        "line 21, height_m",
        "first in line 20",
    ),
    (
        "pixel_u = 1.0\n",
        "pixel_u = 1.0\npixel = [\n1.0,\n2.0]\n",
        "line 42, pixel",
        "first in line 40",
    ),
    ("[air]", "[ball]", "line 11, [ball]", "first in line 5"),
]


@pytest.mark.parametrize(
    ("before", "after", "where", "remedy"), SLIPS, ids=[f"{n} {s[1]}" for n, s in enumerate(SLIPS)]
)
def test_what_is_not_toml_is_answered_with_what_to_write(
    folder: Path, before: str, after: str, where: str, remedy: str
) -> None:
    assert before in WHOLE
    (sentence,) = complaints(folder, WHOLE.replace(before, after, 1))
    assert sentence.startswith(f"session.toml, {where}")
    assert remedy in sentence


@pytest.mark.parametrize("text", ["x = @", "a.b.c", "[[", "=", 'x = """', "[a]]\n", "x = [[1,\n2"])
def test_what_nobody_can_guess_names_its_line(folder: Path, text: str) -> None:
    sentences = complaints(folder, WHOLE + text)
    assert sentences[0].startswith("session.toml, line 5")
    assert sentences[0].endswith(".")


def test_every_slip_of_a_text_is_found_at_once(folder: Path) -> None:
    text = (WHOLE.replace("= 0.80", "= 0,80").replace("level = true", "level = yes")).replace(
        "date = 2026-05-17", "date = 17.05.2026"
    )
    sentences = complaints(folder, text)
    assert [one.split(", ")[1] for one in sentences] == ["line 2", "line 20", "line 33"]


def test_one_bracket_in_place_of_two_is_answered_with_two(folder: Path) -> None:
    one = WHOLE.replace('[[marker]]\nname = "30', '[[gone]]\nname = "30').split("[[gone]]")
    rest = one[1][one[1].index("[[setup]]") :]
    sentences = complaints(folder, one[0].replace("[[marker]]", "[marker]") + rest)
    assert any("[marker]" in each and "write [[marker]]" in each for each in sentences)
    (sentence,) = complaints(folder, WHOLE.replace("[[marker]]", "[marker]"))
    assert sentence.startswith("session.toml, line 43, [marker]: stands twice, first in line 36")
    assert "write [[marker]]" in sentence


def test_a_backslash_that_toml_reads_as_a_letter_is_seen(folder: Path) -> None:
    (sentence,) = complaints(folder, WHOLE.replace("clips/140mm", r"clips\new"))
    assert "line 56" in sentence and "write / between" in sentence


def test_decimal_commas_in_a_list_are_answered_with_points(folder: Path) -> None:
    (sentence,) = complaints(folder, WHOLE.replace("[20.0, -38.0, 1.4]", "[20,0, -38,5, 1,4]"))
    assert "[camera], position_m" in sentence and "point as the decimal mark" in sentence


def test_a_text_in_another_encoding_names_its_line(folder: Path) -> None:
    (folder / "session.toml").write_bytes('name = "a"\nnotes = "böe"\n'.encode("latin-1"))
    with pytest.raises(InputError, match="line 2: is not UTF-8"):
        read_session(folder)


def test_a_missing_folder_and_a_folder_without_a_session_are_reported(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no such folder"):
        read_session(tmp_path / "nowhere")
    with pytest.raises(InputError, match=r"holds no session\.toml; point.* lobmeter new "):
        read_session(tmp_path)


def test_a_clip_that_is_missing_or_stands_for_a_session_is_told_from_a_folder(tmp_path: Path):
    clip, results = tmp_path / "a b.mp4", tmp_path / "a b-results"
    with pytest.raises(InputError, match=r"no such file or folder; .* or a clip\."):
        read_session(clip)
    clip.touch()
    with pytest.raises(InputError, match=re.escape(f"lobmeter measure {typed(clip)}")):
        read_session(clip)
    results.mkdir()
    (results / "shots.csv").touch()
    with pytest.raises(InputError, match=r"is a folder of results; give .* the clip"):
        read_session(results)


def test_no_field_at_fault_reaches_a_session(folder: Path) -> None:
    session = read_session(written(folder, WHOLE))
    assert not math.isnan(session.release.height_m)
    assert not any(math.isnan(value) for marker in session.markers for value in marker.ground_m)


def test_a_session_that_is_only_planned_needs_no_clip(tmp_path: Path) -> None:
    (tmp_path / "session.toml").write_text(WHOLE, encoding="utf-8")
    with pytest.raises(InputError, match="there is no file"):
        read_session(tmp_path)
    assert read_session(tmp_path, filmed=False).clips
    text = WHOLE[: WHOLE.index("[[clip]]")]
    (tmp_path / "session.toml").write_text(text, encoding="utf-8")
    assert read_session(tmp_path, filmed=False).clips == ()
    with pytest.raises(InputError, match="is missing"):
        read_session(tmp_path)


@pytest.mark.parametrize("digits", [400, 4300, 4301, 9000])
def test_a_number_of_thousands_of_digits_is_refused_in_a_short_sentence(
    folder: Path, digits: int
) -> None:
    text = WHOLE.replace("height_m = 0.80", "height_m = " + "9" * digits)
    assert text != WHOLE
    said = " ".join(complaints(folder, text))
    assert "out of range" in said or "thousands of digits" in said
    assert len(said) < 300


def test_a_name_of_a_million_characters_is_refused_in_a_short_sentence(folder: Path) -> None:
    text = WHOLE.replace('name = "30 m cone"', 'name = "' + "x" * 10**6 + '"')
    said = " ".join(complaints(folder, text))
    assert "has 1000000 characters" in said
    assert len(said) < 400


def test_long_and_many_names_make_no_long_sentence(folder: Path) -> None:
    """Names of thousands of letters, which other sentences list, and of setups by the hundred."""
    many = "".join(f'[[setup]]\nname = "wheels {n}"\n' for n in range(40))
    text = WHOLE.replace(
        '[[setup]]\nname = "140 mm wheels"', f'{many}[[setup]]\nname = "{"a" * 3000}"'
    )
    text += f'\n[[clip]]\nfile = "{"b" * 1500}.mp4"\nsetup = "{"c" * 1500}"\n'
    text += f'\n[[clip]]\nfile = "/{"b" * 1500}.mp4"\nsetup = "wheels 3"\n'
    found = complaints(folder, text)
    assert max(len(sentence) for sentence in found) < 600
    assert any('"wheels 11" and 29 more' in sentence for sentence in found)
