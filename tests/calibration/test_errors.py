"""Errors with a place that is data."""

import os
import shlex
from pathlib import PurePosixPath

import pytest

from calibration.errors import (
    CameraField,
    InputError,
    InputErrors,
    MarkerField,
    Undetermined,
    meant,
    nearest,
    typed,
)


def test_a_place_reads_as_a_person_would_name_it():
    assert str(MarkerField("10 m")) == 'marker "10 m"'
    assert str(MarkerField("10 m", "pixel")) == 'marker "10 m", pixel'
    assert str(CameraField()) == "camera"
    assert str(CameraField("level_u_deg")) == "camera, level_u_deg"


def test_an_error_keeps_its_place_as_data():
    place = MarkerField("camera", "pixel")
    error = InputError("is wrong", where=place, remedy="mend it")
    assert error.place is place
    assert error.sentences() == ['marker "camera", pixel: is wrong; mend it.']
    assert InputError("is wrong", where="a text").place is None


def test_another_place_keeps_type_and_words():
    error = Undetermined("is too little", where=CameraField(), remedy="measure more")
    moved = error.at("session.toml, [camera]")
    assert type(moved) is Undetermined
    assert moved.place is None
    assert str(moved) == "session.toml, [camera]: is too little; measure more."


def test_gathered_errors_are_taken_apart_however_deeply():
    one, two, three = InputError("one"), Undetermined("two"), InputError("three")
    gathered = InputErrors([one, InputErrors([two, three])])
    assert gathered.parts == (one, two, three)
    assert one.parts == (one,)
    assert [error.where for error in gathered.at("file").parts] == ["file"] * 3
    assert type(gathered.at("file").parts[1]) is Undetermined


NAMES = ["Übungs Abend/VID 1.mp4", "it's mine", "a;b", "$HOME", "plain-1.mp4"]


@pytest.mark.skipif(os.name == "nt", reason="a shell of POSIX")
@pytest.mark.parametrize("name", NAMES)
def test_a_path_is_given_as_a_shell_takes_it(name: str) -> None:
    assert shlex.split(typed(name)) == [name]


def test_a_plain_path_has_no_quotes_and_windows_has_its_own() -> None:
    assert typed(PurePosixPath("abend-1/Möwe_2.mp4")) == "abend-1/Möwe_2.mp4"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "name", "nt")
        quoted = typed("C:/Meine Clips"), typed("C:/Clips")
    assert quoted == ('"C:/Meine Clips"', "C:/Clips")


def test_a_misspelt_name_is_recognised_and_another_is_not():
    assert nearest("tenis orange", ["tennis", "tennis orange", "table tennis"]) == "tennis orange"
    assert nearest("golf", ["tennis", "cricket"]) is None
    assert nearest("anything", []) is None


def test_a_file_of_nearly_that_name_is_named(tmp_path):
    for name in ("IMG_0501.mp4", "IMG_0777.mp4", "IMG_501.txt"):
        (tmp_path / name).touch()
    wanted = tmp_path / "IMG_501.mp4"
    assert meant(wanted, "look") == f"did you mean {tmp_path / 'IMG_0501.mp4'}? Else look"
    assert meant(tmp_path / "DSC_0012.mp4", "look") == "look"
    assert meant(tmp_path / "IMG_0932.mp4", "look") == "look"
    assert meant(tmp_path / "gone" / "IMG_501.mp4", "look") == "look"


def test_a_name_that_a_shell_cut_at_its_blank_is_given_in_quotes(tmp_path):
    (tmp_path / "Shot 1 (copy).MOV").touch()
    said = f"a name with blanks is written in quotes: {typed(tmp_path / 'Shot 1 (copy).MOV')}"
    assert meant(tmp_path / "Shot", "look") == said
    assert meant(tmp_path / "(copy).MOV", "look") == said
    assert meant(tmp_path / "Sho", "look") == "look"
    (tmp_path / "Shot 2.MOV").touch()
    assert meant(tmp_path / "Shot", "look") == said.replace(":", ", such as", 1)


def test_a_name_without_its_ending_or_in_other_letters_is_recognised(tmp_path):
    (tmp_path / "IMG_0501.MOV").touch()
    said = f"did you mean {tmp_path / 'IMG_0501.MOV'}? Else look"
    assert meant(tmp_path / "IMG_0501", "look") == said
    assert meant(tmp_path / "img_0501.mov", "look") == said
