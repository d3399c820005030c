"""Tries the wheel alone: built, installed in a new environment, and used from a folder that has nothing else.

`python tests/release/wheel_trial.py [FOLDER]` ends with 0 when every command did what it promises. FOLDER must be new,
and is kept; without it a temporary one is used. Needs mypy where it runs; all else comes with the wheel.
"""

import os
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
JOBS = 600
SECONDS = 900
PIP = (sys.executable, "-m", "pip", "--disable-pip-version-check")
BOUND = ("--quiet", "--no-compile", "-c", ROOT / ".ci" / "constraints.txt")
KEPT = ("LANG", "PATH", "SSL_CERT_FILE", "SYSTEMROOT", "TEMP", "TMP", "TMPDIR")

WHERE_FROM = """
import importlib, pkgutil, re, sys
from importlib.metadata import requires
from pathlib import Path
import rqa
extras = {re.match(r"[\\w.-]+", one).group() for one in requires("rqa") if "extra ==" in one}
for found in pkgutil.walk_packages(rqa.__path__, "rqa."):
    if not found.name.endswith("__main__"):
        try:
            importlib.import_module(found.name)
        except ModuleNotFoundError as missing:
            assert missing.name in extras, missing
            print(f"{found.name} needs {missing.name}, which an extra brings")
own = [Path(sys.prefix).resolve(), Path(sys.base_prefix).resolve()]
places = {Path(m.__file__).resolve() for m in list(sys.modules.values()) if getattr(m, "__file__", None)}
strange = sorted(str(p) for p in places if not any(p.is_relative_to(o) for o in own))
assert not strange, strange
assert Path(rqa.__file__).resolve().is_relative_to(own[0]), rqa.__file__
print(f"{len(places)} modules, none from elsewhere")
"""

IN_PYTHON = """
import rqa
with rqa.open("out") as depot:
    answer = depot.comebacks(window=30, by="site")
    assert answer.table.height == 3, answer
    answer.to_excel("comebacks.xlsx")
    rqa.plot(answer).save("comebacks.svg")
assert rqa.published().table.height > 5
print(answer.table)
"""

TYPED = """
import rqa

reveal_type(rqa.open("out").comebacks(window=30).table)
reveal_type(rqa.load("out"))
rqa.open("out").comebacks(window="30")
"""
SEEN = ("DataFrame", "LoadReport", 'incompatible type "str"; expected "int"')

KEPT_RECORDS = """
[workspace]
broken_records = "encrypted"
[files.jobs]
path = "jobs.csv"
[[table]]
table = "jobs"
from = "jobs"
[table.columns]
technician = {{ column = "who", key_file = '{key}' }}
"""
JOBS_CSV = "job_id,unit_id,model,site,procedure,opened_at,disposition,closed_at,who\n" + "".join(
    f"J{n},U1,Quern,Alder,board swap,2024-03-0{n} 10:00,repaired,2024-03-0{n} 12:00,Nadir Okapi\n" for n in (1, 2, 3)
) + "J4,Nadir Okapi\n"
"""The last line lacks fields, and has a name in it."""


class Trial:
    """A folder outside the checkout with an environment, a home and a place to work in."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.work = folder, folder / "elsewhere"
        self.bin = folder / "venv" / ("Scripts" if os.name == "nt" else "bin")
        self.work.mkdir(parents=True)
        (folder / "home").mkdir()

    def run(self, *command: str | Path, expected: int = 0, installing: bool = False) -> str:
        """Run one command there, say how long it took, and return what it said; any other exit code ends the trial."""
        shown = " ".join(Path(c).name if Path(c).is_absolute() else str(c) for c in command if "\n" not in str(c))
        kept = os.environ if installing else {name: os.environ[name] for name in KEPT if name in os.environ}
        environment = dict(kept) | ({} if installing else {"HOME": str(self.folder / "home")})
        environment.pop("PYTHONPATH", None)
        started = time.monotonic()
        done = subprocess.run(
            list(map(str, command)), cwd=self.work, env=environment, stdin=subprocess.DEVNULL, capture_output=True,
            text=True, encoding="utf-8", check=False, timeout=SECONDS,
        )
        say(f"{time.monotonic() - started:6.1f} s  {shown}")
        if done.returncode != expected:
            say(done.stdout + done.stderr)
            raise SystemExit(f"the wheel failed its trial: exit code {done.returncode} of: {shown}")
        return done.stdout + done.stderr

    def rqa(self, *words: str, expected: int = 0) -> str:
        return self.run(self.bin / "rqa", *words, expected=expected)

    def install(self) -> None:
        """Build the wheel and install it with what it declares, in the versions of the constraints."""
        self.run(*PIP, "wheel", "--quiet", "--no-deps", "--wheel-dir", self.folder, ROOT, installing=True)
        self.run(sys.executable, "-m", "venv", "--without-pip", self.folder / "venv")
        self.run(*PIP, "--python", self.bin / "python", "install", *BOUND, self.wheel, installing=True)
        expect(zipfile.ZipFile(self.wheel).testzip() is None, "the wheel is damaged")

    @property
    def wheel(self) -> Path:
        return next(self.folder.glob("rqa-*.whl"))

    def commands(self) -> None:
        """Every command of the README, on a small demo."""
        said = self.rqa("--version")
        expect(f"rqa-{said.split()[-1]}-" in self.wheel.name, said)
        said = self.rqa("demo", "out", "--jobs", str(JOBS))
        expect("every row accounted for" in said, said)
        out = self.work / "out"
        expect(len(list(out.glob("*.html"))) == 1, "demo wrote no page")
        self.rqa("inspect", "out")
        added = self.rqa(
            "action", "out", "--what", "cable guide", "--started-on", "2026-01-12", "--scope", "model=Marl-10"
        )
        expect("actions.csv" in added, added)
        self.rqa("load", "out")
        expect("cable guide" in self.rqa("action", "out"), "the action is not listed")
        for form in ("html", "xlsx"):
            page = self.work / f"page.{form}"
            self.rqa("review", "out", "--month", "2026-05", "--format", form, "--to", page.name)
            expect(page.stat().st_size > 10_000, f"{page} is empty")
        self.rqa("load", "nowhere", expected=1)
        raw = self.work / "raw"
        raw.mkdir()
        shutil.copy(next(out.glob("alder/jobs_*.csv")), raw)
        expect("taken for jobs" in self.rqa("map", "raw"), "no mapping is proposed")

    def records(self) -> None:
        """A record that is no row is kept encrypted and shown with the key, once the extra is installed."""
        key, kept = self.folder / "home" / "rqa.key", self.work / "kept"
        kept.mkdir()
        key.write_bytes(bytes(range(32)))
        (kept / "jobs.csv").write_text(JOBS_CSV, encoding="utf-8")
        (kept / "sources.toml").write_text(KEPT_RECORDS.format(key=key), encoding="utf-8")
        expect("pip install 'rqa[encrypt]'" in self.rqa("load", "kept", expected=1), "the extra is not asked for")
        self.run(*PIP, "--python", self.bin / "python", "install", *BOUND, f"{self.wheel}[encrypt]", installing=True)
        self.rqa("load", "kept")
        said = self.rqa("records", "kept", "--key-file", str(key))
        expect("jobs.csv, row 5: " in said and "J4,Nadir Okapi" in said, said)
        expect(b"Okapi" not in (kept / "depot.duckdb").read_bytes(), "the store holds a name")

    def notebooks(self) -> None:
        """The demo has copied and run them all; one that is gone is copied and run again, and it alone."""
        folder = self.work / "out" / "notebooks"
        bundled = sorted(p.name for p in (ROOT / "notebooks").glob("*.ipynb"))
        (folder / bundled[0]).unlink()
        said = self.rqa("notebooks", "out")
        expect(f"Running 1 notebook:\n  {bundled[0]}: ran in " in said, said)
        expect("pip install jupyterlab" in said, said)
        copied = sorted(p.name for p in folder.iterdir() if p.suffix == ".ipynb")
        expect(copied == bundled, f"notebooks copied: {copied}")
        for path in folder.glob("*.ipynb"):
            expect('"text/html"' in path.read_text("utf-8"), f"{path.name} has no outputs")

    def in_python(self) -> None:
        """From Python: nothing of the checkout is imported, answers and charts are made, types are seen."""
        python = self.bin / "python"
        say(f"          {self.run(python, '-c', WHERE_FROM).strip()}")
        self.run(python, "-c", IN_PYTHON)
        (self.work / "typed.py").write_text(TYPED, encoding="utf-8")
        cache = f"--cache-dir={self.folder / 'mypy'}"
        mypy = (sys.executable, "-m", "mypy", "--strict", cache, "--python-executable", python, "typed.py")
        said = self.run(*mypy, expected=1)
        for part in SEEN:
            expect(part in said, f"types of the installed package are not seen: {said}")
        expect("Found 1 error in 1 file" in said, said)


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
    sys.stdout.flush()


def expect(kept: bool, what: str) -> None:
    if not kept:
        raise SystemExit(f"the wheel failed its trial: {what}")


def main() -> None:
    """All of it, in order."""
    with tempfile.TemporaryDirectory(prefix="rqa-trial-") as made:
        trial = Trial(Path(sys.argv[1] if len(sys.argv) > 1 else made).resolve() / "trial")
        for part in (trial.install, trial.commands, trial.in_python, trial.notebooks, trial.records):
            part()
    say("the wheel works alone")


if __name__ == "__main__":
    main()
