"""The launcher of a session as a page shows it: what is known, and what if."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from tracker.comparison.built import Setup
from tracker.comparison.knowledge import LeftOut
from tracker.comparison.target import SETTINGS, settings_for, span_of, target_sentences
from tracker.comparison.what_if import Curve, Outlook, curve, outlook, tables_with
from tracker.launcher.discharge import Discharge
from tracker.launcher.identified import sentences
from tracker.session import SetupEntry
from tracker.workflow.gathering import gather
from tracker.workflow.predict import check_target


@dataclass(frozen=True)
class Turned:
    """A number that a person can turn: its least, present and greatest value."""

    key: str
    low: float
    present: float
    high: float


class Launcher:
    """What a session's tables and shots say of its launcher; read once, asked often.

    Parameters
    ----------
    folder : Path

    Raises
    ------
    InputError
        With every fault of the session.
    """

    def __init__(self, folder: Path) -> None:
        outings = gather([folder], filmed=False)
        self.notes: tuple[str, ...] = outings.notes
        self.known = outings.known
        self._setups: dict[str, Setup] = {
            setup.name: setup for setup in self.known.setups if setup.machine is not None
        }

    @property
    def names(self) -> tuple[str, ...]:
        """The setups whose tables say enough."""
        return tuple(self._setups)

    def learned(self) -> Sequence[str]:
        """Return in words what the shots say of the model."""
        return sentences(self.known.posterior()) if self.known.setups else ()

    def left_out(self) -> Sequence[LeftOut]:
        """Return each measured setup predicted from the others."""
        return self.known.left_out()

    def discharges(self) -> Mapping[str, Discharge]:
        """Return the shots on one charge of the setups whose battery is known."""
        return self.known.discharges()

    def turned(self, name: str) -> tuple[Turned, ...]:
        """Return the numbers of a setup that a person can turn."""
        base = self._setups[name]
        spans = [(key, span_of(base, key)) for key in SETTINGS]
        return tuple(Turned(key, *span) for key, span in spans if span is not None)

    def outlook(self, name: str, changes: Mapping[str, float]) -> Outlook:
        """Return what to expect of a setup with numbers changed."""
        return outlook(self.known, self._setups[name], changes)

    def curve(self, name: str, changes: Mapping[str, float], key: str) -> Curve | None:
        """Return what to expect along one number of a setup."""
        return curve(self.known, self._setups[name], changes, key)

    def tables_with(
        self, entry: SetupEntry, changes: Mapping[str, float]
    ) -> dict[str, dict[str, float | str]]:
        """Return the tables of a setup with numbers changed, as they are written down."""
        return tables_with(self._setups[entry.name], entry.parts, changes)

    def settings(self, name: str, to_hit_m: float) -> Sequence[str]:
        """Return in words which settings give a wanted carry.

        Raises
        ------
        InputError
            For a carry that nothing has.
        """
        check_target(to_hit_m, "the wanted carry")
        base = self._setups[name]
        return target_sentences(base, to_hit_m, settings_for(self.known, base, to_hit_m))


def launcher_of(folder: Path) -> Launcher:
    """Return the launcher of a session; see `Launcher`."""
    return Launcher(folder)
