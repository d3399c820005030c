"""Run length of a chart of independent points under any set of rules: a Markov chain over what the rules remember."""

from collections.abc import Iterator
from itertools import repeat

import numpy as np
from scipy.sparse import csr_array

from rqa.arguments import Numbers
from rqa.spc.run_lengths.designs import ShewhartDesign
from rqa.spc.run_lengths.markov_chain import SIGNAL, MarkovChain, Step, markov_chain
from rqa.spc.run_lengths.points import Points, SharePoints, Zone
from rqa.spc.run_lengths.result import settled


def shewhart_hazard(design: ShewhartDesign, points: Points) -> Numbers:
    """The chance of a signal at each point, none before it."""
    made = markov_chain(design.rules, design.width, on_centre=isinstance(points, SharePoints))
    chain, leave = _chain(made, tuple(points.zones(made.edges, made.trends)))
    return settled(_walk(chain, leave), made.memory)


def _walk(chain: csr_array, leave: Numbers) -> Iterator[float]:
    state: Numbers = np.zeros(len(leave))
    state[0] = 1.0
    while True:
        yield float(state @ leave)
        state = chain @ state
        total = state.sum()
        if total <= 0.0:
            break
        state /= total
    yield from repeat(1.0)


def _chain(made: MarkovChain, zones: tuple[Zone, ...]) -> tuple[csr_array, Numbers]:
    """Chances from (state, place of the latest point) in columns to the same in rows, and of a signal."""
    sizes = [1 if zone < 0 else len(zones[zone].chance) for zone in made.zone_of]
    first = np.concatenate(([0], np.cumsum(sizes)))
    leave = np.zeros(first[-1])
    rows, columns, chances = [], [], []
    for state, moves in enumerate(made.moves):
        origin = np.arange(first[state], first[state + 1])
        for zone, step, after in moves:
            block = _block(zones[zone], step, made.zone_of[state] == zone, len(origin))
            if after == SIGNAL:
                leave[origin] += block.sum(axis=1)
            else:
                target = np.arange(first[after], first[after + 1])
                block = block if made.trends else block.sum(axis=1, keepdims=True)
                rows.append(np.broadcast_to(target, block.shape).ravel())
                columns.append(np.broadcast_to(origin[:, None], block.shape).ravel())
                chances.append(block.ravel())
    size = int(first[-1])
    if not rows:
        return csr_array((size, size)), leave
    place = (np.concatenate(rows), np.concatenate(columns))
    return csr_array((np.concatenate(chances), place), shape=(size, size)), leave


def _block(zone: Zone, step: Step, same: bool, origins: int) -> Numbers:
    """Chances of each place of the zone, from each place before; within one zone it depends on which is higher."""
    if same and step != "first":
        return {"down": zone.lower, "tie": zone.tie, "up": zone.higher}[step]
    return np.broadcast_to(zone.chance, (origins, len(zone.chance)))
