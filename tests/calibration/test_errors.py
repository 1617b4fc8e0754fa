"""Errors with a place that is data."""

from calibration.errors import CameraField, InputError, InputErrors, MarkerField, Undetermined


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
