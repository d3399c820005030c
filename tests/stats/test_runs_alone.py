"""`rqa.stats` and `rqa.spc` need nothing but NumPy and SciPy: they run where the rest cannot be imported."""

import json
import subprocess
import sys

SCRIPT = """
import json, sys

FORBIDDEN = {"duckdb", "altair", "pandas", "polars", "pyarrow", "statsmodels", "vl_convert", "pydantic", "click"}

class Blocker:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in FORBIDDEN:
            raise ModuleNotFoundError(f"No module named {name!r}", name=name)

sys.meta_path.insert(0, Blocker())

import rqa.spc
import rqa.stats

two = dict(successes1=3, trials1=4, successes2=1, trials2=4)
print(json.dumps({
    "share": [float(rqa.stats.proportion_interval(successes=81, trials=263, method=m).low)
              for m in ("wilson", "clopper-pearson", "jeffreys")],
    "difference": float(rqa.stats.difference_interval(**two).estimate),
    "product": float(rqa.stats.product_interval(successes=[9, 8], trials=[10, 10]).estimate),
    "test": float(rqa.stats.proportion_test(**two).p_value),
    "signals": [s.index for s in rqa.spc.p_chart(count=[1, 2, 20], size=[50, 50, 50]).signals],
    "loaded": sorted(FORBIDDEN & {name.partition(".")[0] for name in sys.modules}),
}))
"""


def test_with_everything_else_unimportable():
    done = subprocess.run([sys.executable, "-W", "error", "-c", SCRIPT], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    answer = json.loads(done.stdout)
    assert [round(low, 4) for low in answer["share"]][:2] == [0.2553, 0.2527]
    assert answer["difference"] == 0.5
    assert round(answer["product"], 12) == 0.72
    assert round(answer["test"], 6) == 0.485714
    assert answer["signals"] == [2]
    assert answer["loaded"] == []
