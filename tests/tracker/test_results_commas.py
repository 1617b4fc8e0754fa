"""A table for spreadsheets that read a comma as the decimal mark."""

from pathlib import Path

from tests.tracker.invented_outings import session
from tracker.results.commas import with_decimal_commas
from tracker.results.rows import read_shots


def test_numbers_get_commas_and_what_a_person_wrote_stays() -> None:
    table = 'clip,setup,x_m,y_m,shot\nclips/a.1.mp4,"Größe 1.5; ""b""",-0.25,1.5e-05,3\n'
    made = with_decimal_commas(table.encode("utf-8")).decode("utf-8")
    assert made == (
        '\ufeffclip;setup;x_m;y_m;shot\r\nclips/a.1.mp4;"Größe 1.5; ""b""";-0,25;1,5e-05;3\r\n'
    )


def test_a_table_with_commas_is_read_as_the_one_that_it_was_made_from(tmp_path: Path) -> None:
    shots = session(tmp_path / "lane", {"140 mm wheels": 3}) / "results" / "shots.csv"
    rows = read_shots(shots)
    shots.write_bytes(with_decimal_commas(shots.read_bytes()))
    assert read_shots(shots) == rows and len(rows) == 3
