"""What made a result: the digest of each file that was read, and the program's version."""

import hashlib
from pathlib import Path


def sha256_of(path: Path) -> str:
    """Return the SHA-256 of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def program_version() -> str:
    """Return the version of the installed program."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("lobmeter")
    except PackageNotFoundError:
        return "unknown"
