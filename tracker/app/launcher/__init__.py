"""The pieces of the page Launcher."""
