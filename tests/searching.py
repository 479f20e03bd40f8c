"""Ways to search for parts that are right, and how each search ends: the trade's, the program's, and who knows it all.

What is judged, and by whom, is of simulate_searches; here is what is tried next.
"""

from collections.abc import Callable, Generator
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np
from simulate_searches import CHANGES, KNOWN, LADDER, MINUTES, MOST_RUNS, PARTS, SETUPS, SPREAD, Car, Draw, Engine

from configurator.advice.next_step import RUN_MIN
from configurator.advice.reach import is_within_reach
from configurator.advice.sure_proposal import LIKELY
from configurator.arrays import Mask
from configurator.book.records import Felt as FeltWord
from configurator.judging.feelings import symptom_felt
from configurator.judging.table import LEAST_SURE, NEARLY_AS_SURE
from configurator.learning.as_known import A_PART_IS_WORTH, SURE_ENOUGH
from configurator.learning.belief import Belief, Run
from configurator.learning.driver import ANSWERS, felt_weights, normal_share
from configurator.learning.felt_sizes import LEAST_LEFT, SAME_SHOT, side_of_nozzle
from configurator.slots.offered import as_fitted


def learned(belief: Belief, car: Car, parts: int, said: FeltWord) -> Belief:
    """The belief after a run, as the program learns."""
    rightly = np.tensordot(felt_weights(said), car.rightly[:, parts], axes=1)
    return belief.updated(Run(None, rightly, 1.0 / len(ANSWERS)).likelihood())


Searching = Generator[int, FeltWord, None]
"""Gives the parts to run next; is sent what was felt; ends where the last parts are left in."""
Search = Callable[[Engine], Searching]


def by_trade(engine: Engine) -> Searching:
    """A larger nozzle for a stumble, a smaller for smoke, one size (about 0.08 mm) at a time; a lobe with more lift for
    a pull that goes flat, and at the last size in the box the next lobe; until a run is felt clean."""
    size, setup = PARTS[engine.fitted]
    while (said := (yield PARTS.index((size, setup)))).word != "clean":
        way = -1 if said.word == "smoke" else 1
        if said.word == "flat" or not 0 <= size + way < len(LADDER):
            setup = int(np.clip(setup + way, 0, len(SETUPS) - 1))
        else:
            size += way


def by_program(engine: Engine, *, reach: bool, learn: Callable[..., Belief] = learned) -> Searching:
    """What `tipin next` says, to a clean run: within reach the fewest changes nearly as sure as the surest worth its
    parts; without regard to reach, as `tipin propose` lists it."""
    parts, belief = engine.fitted, KNOWN
    lean: dict[int, int] = {}
    rich: dict[int, int] = {}
    smoked: dict[int, bool] = {}
    last = (-1, 0)
    while (said := (yield parts)).word != "clean":
        belief = learn(belief, engine.car, parts, said)
        size, setup = PARTS[parts]
        side = side_of_nozzle(symptom_felt(said.word, said.moment))
        if side > 0:
            lean[setup] = max(size, lean.get(setup, size))
            rich = {one: most for one, most in rich.items() if one != setup or most > size}
        elif side < 0:
            smoked[setup] = said.word == "smoke" if size <= rich.get(setup, size) else smoked[setup]
            rich[setup] = min(size, rich.get(setup, size))
            lean = {one: least for one, least in lean.items() if one != setup or least < size}
        sizes, same = np.array(PARTS)[:, 0], np.array(PARTS)[:, 1] == setup
        may = ~same | ((sizes >= lean.get(setup, -1)) & (sizes <= rich.get(setup, len(LADDER))))
        may &= enough(engine.car, parts, said)
        sure = np.where(may, engine.car.covers @ belief.masses, -1.0)
        if reach:
            nozzles = [as_fitted(LADDER[one]) for one, _ in PARTS]
            near = np.array([is_within_reach(as_fitted(LADDER[size]), one, side, 0.0) for one in nozzles])
            within = np.where(near | (sizes == size), sure, -1.0)
            sure = within if within.max() >= LEAST_SURE else sure
        between = same & (sizes > lean.get(setup, len(LADDER))) & (sizes < rich.get(setup, -1))
        if between.any() and smoked.get(setup):
            sure = np.where(between, sure, -1.0)  # what two runs say comes before any model
        twice, last = last == (parts, side) and side != 0, (parts, side)
        if side and sure.max() < LEAST_SURE:  # the model is at a loss: once more, and then as the trade goes
            next_size = size + (side if twice else 0)
            parts = PARTS.index((min(max(next_size, 0), len(LADDER) - 1), setup))
            continue
        if twice or (sure[parts] < LIKELY and sure[parts] < sure.max()):
            sure[parts] = -1.0  # what is complained of, and not likely to be right, is not left alone
        mosts = [sure[CHANGES[parts] <= count].max(initial=-1.0) for count in range(4)]
        worth = np.minimum(mosts, SURE_ENOUGH) - A_PART_IS_WORTH * np.arange(4)
        wanted = min(SURE_ENOUGH, NEARLY_AS_SURE * mosts[int(worth.argmax())])
        steps = np.abs(np.array([LADDER[one].diameter_mm for one in sizes]) - LADDER[size].diameter_mm)
        found = int(np.lexsort((steps, MINUTES[parts], CHANGES[parts], sure < wanted))[0])
        alike = np.array([one == PARTS[found][1] for _, one in PARTS]) & (sizes != size)
        resized = PARTS[found][0] != size and sure[found] < SURE_ENOUGH
        parts = int(np.where(alike, sure, -1.0).argmax()) if resized else found


def enough(car: Car, parts: int, said: FeltWord) -> Mask:
    """Which parts give no less than what was too little, and no more than what was too much."""
    tells, (volume, peak) = set(symptom_felt(said.word, said.moment).tells), car.volume_and_peak
    if tells == {"hesitates"}:
        return np.asarray((volume >= LEAST_LEFT * volume[parts]) & (peak >= (1.0 - SAME_SHOT) * peak[parts]))
    if tells == {"flat"}:
        return np.asarray(volume >= (1.0 - SAME_SHOT) * volume[parts])
    if tells == {"rich"}:
        return np.asarray(volume <= (1.0 + SAME_SHOT) * volume[parts])
    return np.ones(len(volume), dtype=bool)


def by_engine(engine: Engine) -> Searching:
    """Who knows the engine: what it is likeliest to pull cleanly with."""
    likeliest = int(np.prod(normal_share(-engine.complaints[:3] / SPREAD), axis=0).argmax())
    parts = engine.fitted
    while (yield parts).word != "clean":
        parts = likeliest


@dataclass(frozen=True)
class Searched:
    """How a search ended, from the first complaint on; the wrong way is against what was truly amiss, pump and lobe as
    they were, and of these against what was said as well; needless : right parts that were changed."""

    runs: int
    minutes: float
    right: bool
    bought: int
    nozzle_steps: int
    wrong_way: int
    against_the_word: int
    needless: int


def searched(engine: Engine, search: Search, felt: Draw) -> Searched:
    """One search, given up after MOST_RUNS."""
    parts = search(engine)
    been, minutes, runs = [next(parts)], 0.0, MOST_RUNS
    said: list[FeltWord] = []
    for run in range(MOST_RUNS):
        try:
            said.append(felt(been[-1], run))
            been.append(parts.send(said[-1]))
        except StopIteration:
            runs = run
            break
        minutes += RUN_MIN + float(MINUTES[been[-2], been[-1]])
    moves = [(one, other, word) for (one, other), word in zip(pairwise(been), said, strict=False) if one != other]
    nozzle_only = [move for move in moves if PARTS[move[0]][1] == PARTS[move[1]][1] and not engine.right[move[0]]]
    wrong = [move for move in nozzle_only if _is_wrong_way(engine, *move[:2])]
    bought = sum(len({PARTS[one][kind] for one in been}) - 1 for kind in (0, 1))
    return Searched(
        runs, minutes, bool(engine.right[been[-1]]), bought,
        len(nozzle_only), len(wrong), sum(_is_against(*move) for move in wrong),
        sum(bool(engine.right[one]) for one, *_ in moves),
    )  # fmt: skip


def _is_wrong_way(engine: Engine, now: int, then: int) -> bool:
    """Whether the nozzle goes smaller for want of fuel at once, or larger for too much."""
    amiss, way = int(engine.complaints[:3, now].argmax()), PARTS[then][0] - PARTS[now][0]
    return (amiss == 0 and way < 0) or (amiss == 2 and way > 0)


def _is_against(now: int, then: int, said: FeltWord) -> bool:
    """Whether the nozzle goes against what a driver said."""
    return side_of_nozzle(symptom_felt(said.word, said.moment)) * (PARTS[then][0] - PARTS[now][0]) < 0


WAYS: dict[str, tuple[str, Search]] = {
    "trade": ("the trade's practice", by_trade),
    "step": ("`tipin next`, to a clean run", partial(by_program, reach=True)),
    "proposal": ("`tipin propose`, to a clean run", partial(by_program, reach=False)),
    "engine": ("who knows the engine", by_engine),
}
