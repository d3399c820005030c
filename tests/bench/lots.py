"""How often what was expected of a lot came true: python tests/bench/lots.py WORKSPACE [--days 30] [--lots 40].

Lots are looked at so many days after the last of them was closed; what came back later, up to the store's latest day,
is compared with the limits that `depot.lot` gave then.
"""

import argparse
import random
from datetime import timedelta

import rqa

LOTS = """
select f.part_no, f.lot, max(j.closed_on) as last_on
from (select distinct job_id, part_no, lot from parts where lot is not null) as f
join jobs as j on j.job_id = f.job_id
where j.closed_on is not null
group by all
having count(*) >= 20
order by all
"""


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("workspace")
    asked.add_argument("--days", type=int, default=30)
    asked.add_argument("--lots", type=int, default=40)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    held = made = 0
    with rqa.open(given.workspace) as depot:
        rows = [r for r in depot.query(LOTS).rows() if r[2] + timedelta(days=200) <= depot.as_of.date()]
        for part, lot, last_on in random.Random(given.seed).sample(rows, min(given.lots, len(rows))):
            with rqa.open(given.workspace, as_of=last_on + timedelta(days=given.days)) as then:
                expected = then.lot(part, lot).expected
            now = depot.lot(part, lot).expected
            if expected is None or now is None:
                continue
            for age in (90, 180):
                before, after = expected.filter(expected["days"] == age), now.filter(now["days"] == age)
                if before.height and after.height:
                    came = after["back"][0] - before["back"][0]
                    made += 1
                    held += before["low"][0] <= came <= before["high"][0]
                    print(f"{part} {lot} {age:>4}: {before.row(0)[3:7]} came {came}")
    print(f"{held} of {made} forecasts held")


if __name__ == "__main__":
    main()
