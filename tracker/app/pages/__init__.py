"""One module a page; each names its `tracker.app.registry.Page` ``PAGE``."""
