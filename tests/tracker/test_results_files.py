"""Results are put in place together or not at all."""

from pathlib import Path

import pytest

from calibration.errors import InputError
from tracker.results.files import put_in_place, staged_file


def test_files_are_written_and_others_stay(tmp_path: Path) -> None:
    folder = tmp_path / "results"
    put_in_place(folder, {"a.jpg": b"one", "b.jpg": b"one"})
    put_in_place(folder, {"a.jpg": b"two"})
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {
        "a.jpg": b"two",
        "b.jpg": b"one",
    }


def test_when_one_file_cannot_be_replaced_all_stay_as_they_were(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "results"
    put_in_place(folder, {"shots.csv": b"one", "tracks.csv": b"one"})
    rename = Path.replace

    def locked(self: Path, target: Path) -> Path:
        if target == folder / "tracks.csv":
            raise PermissionError(13, "Permission denied")
        return rename(self, target)

    monkeypatch.setattr(Path, "replace", locked)
    with pytest.raises(InputError, match=r"tracks\.csv: cannot be written"):
        put_in_place(folder, {"shots.csv": b"two", "new.jpg": b"two", "tracks.csv": b"two"})
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == {
        "shots.csv": b"one",
        "tracks.csv": b"one",
    }


def test_a_folder_that_cannot_be_made_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "results").write_bytes(b"a file, not a folder")
    with pytest.raises(InputError, match="cannot be written"):
        put_in_place(tmp_path / "results", {"shots.csv": b""})


def test_a_large_file_appears_when_it_is_whole(tmp_path: Path) -> None:
    film = tmp_path / "a-overlay.mp4"
    with staged_file(film) as part:
        part.write_bytes(b"half")
        assert [path.name for path in tmp_path.glob("*.mp4")] == []
    assert film.read_bytes() == b"half"
    with pytest.raises(ZeroDivisionError), staged_file(film) as part:
        part.write_bytes(b"other")
        raise ZeroDivisionError
    assert film.read_bytes() == b"half"
    assert [path.name for path in tmp_path.iterdir()] == ["a-overlay.mp4"]
