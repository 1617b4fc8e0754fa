"""A page printed to PDF by a browser that is on the machine."""

import locale
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from calibration.errors import InputError

BROWSERS = (
    "chromium",
    "chromium-browser",
    "chromium-headless-shell",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "chrome-headless-shell",
    "msedge",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
    r"C:\Program Files\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Google\Chrome\Application\chrome.exe",
    r"C:\Program Files (x86)\Microsoft\Edge\Application\msedge.exe",
)
"""Browsers of the Chromium family, by the names that they have on the path, or in full."""

LETTER = ("US", "CA", "MX", "PH", "CL", "CO", "CR", "GT", "NI", "PA", "PR", "SV", "VE", "BZ")
"""Countries that print on US Letter, all others on A4 (Unicode CLDR, supplemental data, paper size;
from memory)."""

PAPERS = ("A4", "Letter")
"""Sheets that a report prints on, as CSS has them (CSS Paged Media, section 7.1)."""

PATIENCE_S = 120.0
"""Time after which a browser is taken to hang, s; a report prints in a few."""


def paper() -> str:
    """Return the sheet that is printed on where this machine's locale says its country."""
    variables = (os.environ.get(name) for name in ("LC_ALL", "LC_PAPER", "LANG"))
    named = next(filter(None, variables), None) or locale.getlocale()[0] or ""
    country = named.split(".")[0].split("@")[0].rpartition("_")[2]
    return "Letter" if country in (*LETTER, "United States", "Canada", "Mexico") else "A4"


def pdf_of(page: Path, sheet: str | None = None) -> bytes:
    """Return an HTML file as a PDF file, printed by a browser without a window.

    Browsers by themselves take US Letter everywhere.

    Parameters
    ----------
    page : Path
    sheet : str, optional
        One of `PAPERS`; `paper`'s when left out.

    Raises
    ------
    InputError
        Where there is no such browser, or it prints nothing.
    """
    browser = next((found for name in BROWSERS if (found := shutil.which(name))), None)
    if browser is None:
        raise InputError(
            "needs a browser of the Chromium family, and none was found",
            where="--pdf",
            remedy=f"install Chromium, or open {page} in any browser and print it",
        )
    with tempfile.TemporaryDirectory() as held:
        pdf, sized = Path(held) / "page.pdf", Path(held) / "page.html"
        style = f"<style>@page {{ size: {sheet or paper()} }}</style></head>"
        sized.write_text(page.read_text("utf-8").replace("</head>", style, 1), "utf-8")
        arguments = [
            browser,
            "--headless",
            "--disable-gpu",
            "--no-first-run",
            f"--user-data-dir={Path(held) / 'profile'}",
            "--no-pdf-header-footer",
            f"--print-to-pdf={pdf}",
            sized.resolve().as_uri(),
        ]
        if getattr(os, "geteuid", lambda: 1)() == 0:
            # The browser refuses to run as root with its sandbox; the page runs no script.
            arguments.insert(1, "--no-sandbox")
        try:
            subprocess.run(arguments, check=True, capture_output=True, timeout=PATIENCE_S)
            return pdf.read_bytes()
        except (OSError, subprocess.SubprocessError) as error:
            raise InputError(
                f"{Path(browser).name} could not print the report ({type(error).__name__})",
                where="--pdf",
                remedy=f"open {page} in any browser and print it",
            ) from None
