"""filterpy's Kalman filter, loaded without the rest of filterpy.

Any import of filterpy loads all of its modules, `scipy.stats` and `scipy.linalg` with them, a
second of processor time that every run with a shot would pay. The filter itself needs numpy and two
helpers.
"""

import sys
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from filterpy.kalman import KalmanFilter

FILTER = "filterpy.kalman.kalman_filter"

HELPERS = ("pretty_str", "reshape_z")
"""What the filter takes from `filterpy.common`, whose other modules need `scipy.linalg`."""


@cache
def filter_class() -> "type[KalmanFilter]":
    """Return the class `filterpy.kalman.KalmanFilter`."""
    spec = find_spec("filterpy")
    folders = None if spec is None else spec.submodule_search_locations
    if "filterpy" in sys.modules or not folders:
        whole: type[KalmanFilter] = import_module("filterpy.kalman").KalmanFilter
        return whole
    try:
        sys.modules.update(_bare_packages(Path(folders[0])))
        helpers = import_module("filterpy.common.helpers")
        for name in HELPERS:
            setattr(sys.modules["filterpy.common"], name, getattr(helpers, name))
        found: type[KalmanFilter] = import_module(FILTER).KalmanFilter
    finally:
        # Whoever imports filterpy later gets the whole of it.
        for name in [each for each in sys.modules if each.split(".")[0] == "filterpy"]:
            del sys.modules[name]
    return found


def _bare_packages(folder: Path) -> dict[str, ModuleType]:
    """Return packages that hold nothing but the place of their modules, by their names."""
    packages = {"filterpy": ModuleType("filterpy")}
    packages["filterpy"].__path__ = [str(folder)]
    for part in ("common", "kalman"):
        package = packages[f"filterpy.{part}"] = ModuleType(f"filterpy.{part}")
        package.__path__ = [str(folder / part)]
    stats = ModuleType("filterpy.stats")
    stats.__dict__["logpdf"] = _log_density
    return {**packages, "filterpy.stats": stats}


def _log_density(*arguments: Any, **more: Any) -> float:
    """Return what `filterpy.stats.logpdf` returns: a filter asks for it only when its user does."""
    from filterpy.stats import logpdf

    return float(logpdf(*arguments, **more))
