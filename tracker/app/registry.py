"""The pages: one module each in `tracker.app.pages`, with one `Page` named ``PAGE``."""

from functools import cache
from importlib import import_module
from pkgutil import iter_modules

from tracker.app.view import Page


@cache
def pages() -> tuple[Page, ...]:
    """Return all pages in their order."""
    import tracker.app.pages as room

    names = [module.name for module in iter_modules(room.__path__)]
    found = [import_module(f"{room.__name__}.{name}") for name in names]
    listed = [module.PAGE for module in found if hasattr(module, "PAGE")]
    return tuple(sorted(listed, key=lambda page: page.order))
