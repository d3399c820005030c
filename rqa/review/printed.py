"""The page as a PDF, printed by a browser found on the machine; nothing of it is loaded from anywhere."""

import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from rqa.errors import RequestError
from rqa.written import write_whole

VARIABLE = "RQA_BROWSER"
NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
SECONDS = 120
QUIET = (
    "--headless", "--disable-gpu", "--no-first-run", "--disable-background-networking", "--disable-component-update",
    "--disable-sync", "--disable-extensions", "--host-resolver-rules=MAP * ~NOTFOUND",
)
"""No window, no first steps, and no name on the network can be found."""
WITH_ANNEX = "with-annex"
"""The place on the page that has its annex printed, too."""
BY_HAND = "open the page in a browser and print it there to a file (its print layout is in the page)"


def browser() -> str | None:
    """The browser that prints: the one that RQA_BROWSER names, else one of Chromium's kind on the path; None without.

    Raises `RequestError` if RQA_BROWSER names a program that is not there.
    """
    named = os.environ.get(VARIABLE)
    if named:
        found = shutil.which(named)
        if found is None:
            raise RequestError(f"{VARIABLE} names {named!r}, and there is no such program; correct it, or {BY_HAND}.")
        return found
    return next((found for name in NAMES if (found := shutil.which(name))), None)


def options(program: str, profile: str | Path) -> list[str]:
    """The command that starts a browser without a window, on a profile of its own."""
    as_root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return [program, *QUIET, *as_root, f"--user-data-dir={profile}"]


def write_pdf(page: Path, to: Path | None = None, *, annex: bool = False) -> Path:
    """Print the sheet of a page that was written, or all of it with `annex`; `to` is the PDF's file, by default the
    page's name with .pdf.

    Raises `RequestError` without a browser, saying how to print by hand, and when the browser prints nothing.
    """
    program = browser()
    if program is None:
        raise RequestError(
            f"there is no browser to print with ({', '.join(NAMES[:3])}); install one, name one in {VARIABLE}, or "
            f"{BY_HAND}."
        )
    target = (to or page.with_suffix(".pdf")).resolve()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        made = Path(profile) / "page.pdf"
        address = page.resolve().as_uri() + (f"#{WITH_ANNEX}" if annex else "")
        how = ("--no-pdf-header-footer", f"--print-to-pdf={made}", address)
        command = [*options(program, profile), *how]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise RequestError(f"{program} did not print the page ({error}); {BY_HAND}.") from error
        if not made.is_file() or not made.read_bytes().startswith(b"%PDF"):
            said = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
            raise RequestError(f"{program} printed nothing ({said[:200]}); {BY_HAND}.")
        try:
            write_whole(target, made.read_bytes())
        except OSError as error:
            raise RequestError(f"{target}: cannot write the PDF ({error.strerror}); name another file.") from error
    return target
