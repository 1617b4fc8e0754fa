"""Packages whose parts are imported when they are asked for: each name is still the same thing."""

from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

from calibration.later import later

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = [
    ".".join(path.parent.relative_to(ROOT).parts)
    for top in ("calibration", "tracker")
    for path in sorted((ROOT / top).rglob("__init__.py"))
    if "later(" in path.read_text(encoding="utf-8")
]


@pytest.mark.parametrize("name", PACKAGES)
def test_every_name_of_a_package_is_what_its_part_has(name: str) -> None:
    package = import_module(name)
    parts = [
        import_module(f"{name}.{path.stem}")
        for path in sorted((ROOT / name.replace(".", "/")).glob("[a-z]*.py"))
    ]
    assert len(package.__all__) > 2
    for each in package.__all__:
        found = getattr(package, each)
        assert not isinstance(found, ModuleType), f"{name} has a module in place of {each}"
        assert any(getattr(part, each, None) is found for part in parts), each
    with pytest.raises(AttributeError, match="has no attribute 'nothing'"):
        _ = package.nothing


def test_packages_with_such_parts_are_looked_at() -> None:
    assert {"calibration.site", "tracker.video"} <= set(PACKAGES)


def test_a_part_is_imported_once_and_its_name_kept() -> None:
    import calibration.lens

    found = later("calibration.lens", {"board": "Board"})("Board")
    assert vars(calibration.lens)["Board"] is found
