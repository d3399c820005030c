"""Runs the tests of the arithmetic and the notebooks anew with other linear algebra than this machine would take.

OpenBLAS has a kernel for each kind of processor, and NumPy its own instructions; each adds up in an order of its own.
No figure that is stored, and no test, may depend on that. `python tests/release/second_kernel.py` chooses an older
kernel that this machine can run, says which, and ends as pytest does; where there is none it says so and ends with 0.
"""

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ALL = ("-m", "not long", "--hypothesis-profile=whole")
"""The slow tests and all examples too, which the gate leaves out."""
PARTS = ("tests/stats", "tests/spc", "notebooks")
OLDER = {
    "SkylakeX": ("Haswell", "Nehalem"),
    "Cooperlake": ("Haswell", "Nehalem"),
    "SapphireRapids": ("Haswell", "Nehalem"),
    "Haswell": ("Sandybridge", "Nehalem"),
    "Zen": ("Sandybridge", "Nehalem"),
}
"""Kernels whose instructions the first is sure to have, the likeliest on a colleague's machine first."""
ANY = ("ARMV8", "NEHALEM", "GENERIC")

PROBE = """
import numpy as np
from scipy import linalg
from numpy._core import _multiarray_umath as built
a = np.arange(40_000.0).reshape(200, 200) % 7 + 100 * np.eye(200)
assert np.allclose(a @ np.linalg.inv(a), np.eye(200)) and np.isfinite(linalg.lu_factor(a)[0]).all()
print(*(f for f in built.__cpu_dispatch__ if built.__cpu_features__[f]))
"""


def probed(kernel: str = "") -> tuple[set[str], str]:
    """The kernels that NumPy and SciPy take when asked for this one, and what NumPy adds; none where they fail."""
    told = os.environ | {"OPENBLAS_CORETYPE": kernel, "OPENBLAS_VERBOSE": "2"}
    done = subprocess.run(
        [sys.executable, "-c", PROBE], env=told, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False
    )
    if done.returncode:
        return set(), ""
    return set(re.findall(r"^Core: (\w+)\s*$", done.stderr, re.MULTILINE)), done.stdout.strip()


def main() -> int:
    """Choose, say what was chosen, and run."""
    usual, instructions = probed()
    asked = {kernel: probed(kernel)[0] for kernel in OLDER.get(min(usual, default=""), ANY)}
    chosen = next((kernel for kernel, found in asked.items() if found and not found & usual), "")
    if not chosen and not instructions:
        sys.stdout.write(f"no second kernel: this machine's linear algebra ({', '.join(usual) or 'unknown'}) has one\n")
        return 0
    sys.stdout.write(
        f"usual kernel: {', '.join(sorted(usual)) or 'unknown'}; this run: {chosen or 'the same'}, "
        f"NumPy without {instructions or 'any change'}\n"
    )
    sys.stdout.flush()
    told = os.environ | {"OPENBLAS_CORETYPE": chosen, "NPY_DISABLE_CPU_FEATURES": instructions}
    return subprocess.run([sys.executable, "-m", "pytest", *ALL, *PARTS, *sys.argv[1:]], cwd=ROOT, env=told).returncode


if __name__ == "__main__":
    sys.exit(main())
