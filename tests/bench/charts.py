"""Ten thousand control charts of 36 months in one call, against a loop: `python tests/bench/charts.py`.

Both are timed in turns and medians printed, as in run.py; read the ratio, not the seconds.
"""

import numpy as np
from run import in_turns

from rqa.spc import p_chart, p_charts, u_chart, u_charts

CHARTS, MONTHS, LOOP = 10_000, 36, 500
"""The loop makes `LOOP` charts and is scaled up."""


def main() -> None:
    rng = np.random.default_rng(1)
    size = rng.integers(0, 200, (CHARTS, MONTHS))
    count = rng.binomial(size, 0.07)
    for name, many, single in (("p", p_charts, p_chart), ("u", u_charts, u_chart)):
        seconds = in_turns(
            5,
            together=lambda many=many: many(count=count, size=size),
            loop=lambda single=single: [single(count=count[i], size=size[i]) for i in range(LOOP)],
        )
        loop = seconds["loop"] * CHARTS / LOOP
        print(
            f"{CHARTS:,} {name} charts of {MONTHS} months: {seconds['together']:.3f} s in one call, "
            f"{loop:.2f} s in a loop, {loop / seconds['together']:.0f} times as long"
        )


if __name__ == "__main__":
    main()
