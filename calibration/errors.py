"""The one kind of error that a person can cause and a person can mend."""

from collections.abc import Iterable


class InputError(Exception):
    """Something a person gave is wrong; the faces print it plainly and exit with 2.

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a full stop.
    where : str
        File and field, for instance ``"session.toml, [[marker]] 3, pixel"``.
    remedy : str
        What to do about it, as a clause without a full stop.
    """

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        super().__init__(what)

    def sentences(self) -> list[str]:
        """Return one sentence for each thing that is wrong."""
        head = f"{self.where}: " if self.where else ""
        tail = f"; {self.remedy}" if self.remedy else ""
        return [f"{head}{self.what}{tail}."]

    def __str__(self) -> str:
        return "\n".join(self.sentences())


class Undetermined(InputError):
    """What was measured is right as far as it goes, and too little to fix what is asked."""


class InputErrors(InputError):
    """Every fault of one input, gathered so that all are told at once."""

    def __init__(self, errors: Iterable[InputError]) -> None:
        self.errors = tuple(errors)
        if not self.errors:
            raise ValueError("InputErrors needs at least one error")
        super().__init__("; ".join(error.what for error in self.errors))

    def sentences(self) -> list[str]:
        """Return the sentences of every gathered error, in order."""
        return [sentence for error in self.errors for sentence in error.sentences()]
