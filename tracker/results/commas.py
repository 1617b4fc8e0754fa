"""A table for a spreadsheet that reads a comma as the decimal mark."""

import csv
import io
import re

_NUMBER = re.compile(r"-?\d+\.\d+(e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


def with_decimal_commas(table: bytes) -> bytes:
    """Return a CSV file with semicolons between cells and commas in numbers.

    In most of Europe a spreadsheet opens the usual file as one column, or takes 22.638 for
    22 thousand, without a word. The byte order mark tells it that letters are UTF-8.

    Parameters
    ----------
    table : bytes
        UTF-8, with commas between cells and points in numbers.
    """
    made = io.StringIO()
    writer = csv.writer(made, delimiter=";", lineterminator="\r\n")
    for row in csv.reader(io.StringIO(table.decode("utf-8"), newline="")):
        writer.writerow(
            [cell.replace(".", ",") if _NUMBER.fullmatch(cell) else cell for cell in row]
        )
    return made.getvalue().encode("utf-8-sig")
