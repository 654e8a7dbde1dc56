"""Which circuits on which RCD: an exact split by integer programming, with as few moves as it takes.

Leakages are mA and add arithmetically (the safe bound). A split is as good as the share of its budget
that its fullest RCD uses, in steps of 5 %: finer differences drown in the uncertainty of a clamp. The
best step is sought first, the fewest moves within it second. The ladder starts at the first step that
leaves 2 % over the share a perfectly even split would use.
"""

from collections.abc import Mapping, Sequence
from decimal import ROUND_CEILING, Decimal
from types import MappingProxyType
from typing import Literal

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from voicelog.checking.edition import Edition
from voicelog.checking.leakage import budget_mA
from voicelog.checking.weighing import nearest, plain
from voicelog.installation import Rcd, Wishes
from voicelog.model import Noun

STEP = Decimal("0.05")  # of the budget
SPARE = Decimal("1.02")  # over a perfectly even split
LONGEST_S = 5.0  # for one solution; beyond it the fewest moves are not proven
RULE = Decimal(1)  # the whole budget
NONE_BARRED: Mapping[str, frozenset[str]] = MappingProxyType({})


class Group(Noun):
    """The circuits of one RCD after the split."""

    rcd: str
    circuits: tuple[str, ...]
    leakage_mA: Decimal  # arithmetic sum
    share: Decimal  # of the budget: 1 is the whole


class Move(Noun):
    """One circuit that changes its RCD; ``source`` is empty when it had none."""

    circuit: str
    source: str
    target: str


class Split(Noun):
    """A split that meets the rule."""

    groups: tuple[Group, ...]
    moves: tuple[Move, ...]
    worst_share: Decimal
    even_share: Decimal  # what a perfectly even split would use: no split can do better
    proven: bool  # whether it is certain that no split on the same step needs fewer moves


class NoSplit(Noun):
    """No split meets the rule, why, and the circuits that force it."""

    why: str
    forced_by: tuple[str, ...] = ()


class Problem(Noun):
    """Blocks of circuits that stay together, and where each may go."""

    leakages_mA: dict[str, Decimal]  # by circuit
    budgets_mA: dict[str, Decimal]  # by RCD
    current: dict[str, str]  # circuit -> RCD
    barred: dict[str, frozenset[str]] = {}  # circuit -> RCDs that may not protect it
    wishes: Wishes = Wishes()

    @property
    def blocks(self) -> tuple[tuple[str, ...], ...]:
        """Circuits joined by the wish to stay together; each block moves as one."""
        block = {circuit: {circuit} for circuit in self.leakages_mA}
        for group in self.wishes.together:
            joined = set().union(*(block[c] for c in group if c in block))
            block.update(dict.fromkeys(joined, joined))
        return tuple(dict.fromkeys(tuple(sorted(members)) for members in block.values()))

    def block_mA(self, block: Sequence[str]) -> Decimal:
        return sum((self.leakages_mA[circuit] for circuit in block), Decimal(0))

    def may(self, circuit: str, rcd: str) -> bool:
        """Whether an RCD may protect a circuit."""
        return rcd not in self.barred.get(circuit, ())

    def most_mA(self, circuit: str) -> Decimal:
        """The largest budget among the RCDs that may protect a circuit."""
        return max((mA for rcd, mA in self.budgets_mA.items() if self.may(circuit, rcd)), default=Decimal(0))

    def without(self, circuit: str) -> "Problem":
        left = {name: leak for name, leak in self.leakages_mA.items() if name != circuit}
        return self.model_copy(update={"leakages_mA": left})


def regroup(
    leakages_mA: Mapping[str, Decimal],
    rcds: Sequence[Rcd],
    current: Mapping[str, str],
    edition: Edition,
    wishes: Wishes = Wishes(),  # noqa: B008 - frozen, so safe to share
    goal: Literal["even", "fewest moves"] = "even",
    barred: Mapping[str, frozenset[str]] = NONE_BARRED,
) -> Split | NoSplit:
    """The best split of circuits over RCDs: as even as it can be, or with the fewest moves that meet the rule.

    ``barred``: by circuit, the RCDs that may not protect it.
    Never worse than ``current`` where that respects the wishes. ``NoSplit`` names the circuits that force it.
    """
    budgets = {rcd.reference: budget_mA(rcd, edition) for rcd in rcds}
    problem = Problem(
        leakages_mA=dict(leakages_mA), budgets_mA=budgets, current=dict(current), barred=dict(barred), wishes=wishes
    )
    if not budgets or not leakages_mA:
        return NoSplit(why="there is nothing to split: circuits with leakage figures and RCDs are both needed")
    if not _feasible(problem, RULE):
        return _why_not(problem)
    share = RULE if goal == "fewest moves" else _lowest_step(problem)
    return _split(problem, share)


def even_share(problem: Problem) -> Decimal:
    """The share that no split can beat: everything spread evenly, or the largest block alone."""
    spread = sum(problem.leakages_mA.values(), Decimal(0)) / sum(problem.budgets_mA.values())
    largest = max(problem.block_mA(block) for block in problem.blocks) / max(problem.budgets_mA.values())
    return max(spread, largest)


def first_step(share: Decimal) -> Decimal:
    """The first step of the ladder that leaves a little over an even share, never beyond the rule."""
    steps = (share * SPARE / STEP).to_integral_value(rounding=ROUND_CEILING)
    return min(steps * STEP, RULE)


def _lowest_step(problem: Problem) -> Decimal:
    """Halve the ladder: what is feasible at one step is feasible at every higher one."""
    low, high = first_step(even_share(problem)), RULE
    while low < high:
        middle = low + ((high - low) / STEP // 2) * STEP
        if _feasible(problem, middle):
            high = middle
        else:
            low = middle + STEP
    return high


def _feasible(problem: Problem, share: Decimal) -> bool:
    return not problem.leakages_mA or _solve(problem, share, count_moves=False) is not None


def _split(problem: Problem, share: Decimal) -> Split | NoSplit:
    """With the fewest moves; with any, where the search for the fewest finds nothing in its time."""
    fewest = _solve(problem, share, count_moves=True)
    solution = fewest or _solve(problem, share, count_moves=False)
    if solution is None:
        return NoSplit(why="none was found in the time that the search may take; try once more")
    target, proven = solution[0], fewest is not None and fewest[1]
    groups = tuple(_group(problem, rcd, target) for rcd in problem.budgets_mA)
    return Split(
        groups=groups,
        moves=_moves(problem, target),
        worst_share=max(group.share for group in groups),
        even_share=even_share(problem),
        proven=proven,
    )


def _group(problem: Problem, rcd: str, target: Mapping[str, str]) -> Group:
    circuits = tuple(circuit for circuit in problem.leakages_mA if target[circuit] == rcd)
    leakage = problem.block_mA(circuits)
    return Group(rcd=rcd, circuits=circuits, leakage_mA=leakage, share=leakage / problem.budgets_mA[rcd])


def _moves(problem: Problem, target: Mapping[str, str]) -> tuple[Move, ...]:
    before = problem.current
    return tuple(
        Move(circuit=circuit, source=before.get(circuit, ""), target=target[circuit])
        for circuit in problem.leakages_mA
        if before.get(circuit, "") != target[circuit]
    )


# ---------------------------------------------------------------- the integer program


def _solve(problem: Problem, share: Decimal, *, count_moves: bool) -> tuple[dict[str, str], bool] | None:
    """Assign blocks to RCDs so that none uses more than ``share``; None when that cannot be done."""
    blocks, rcds = problem.blocks, tuple(problem.budgets_mA)
    cost = np.array([_moved(problem, block, rcd) for block in blocks for rcd in rcds], dtype=float)
    result = milp(
        cost if count_moves else np.zeros_like(cost),
        constraints=_constraints(problem, blocks, rcds, float(share)),
        integrality=np.ones_like(cost),
        bounds=_bounds(problem, blocks, rcds),
        options={"time_limit": LONGEST_S},
    )
    if result.x is None:
        return None
    chosen = result.x.reshape(len(blocks), len(rcds)).argmax(axis=1)
    target = {circuit: rcds[index] for block, index in zip(blocks, chosen, strict=True) for circuit in block}
    return target, result.status == 0


def _moved(problem: Problem, block: Sequence[str], rcd: str) -> int:
    return sum(problem.current.get(circuit, "") != rcd for circuit in block)


def _bounds(problem: Problem, blocks: Sequence[Sequence[str]], rcds: Sequence[str]) -> Bounds:
    """A fixed circuit closes every other RCD to its block, and a barred RCD is closed to it."""
    upper = np.ones((len(blocks), len(rcds)))
    for row, block in enumerate(blocks):
        upper[row] *= [all(problem.may(circuit, rcd) for circuit in block) for rcd in rcds]
        for wanted in (problem.wishes.fixed[circuit] for circuit in block if circuit in problem.wishes.fixed):
            upper[row] *= [rcd == wanted for rcd in rcds]
    return Bounds(0, upper.ravel())


def _constraints(problem: Problem, blocks: Sequence, rcds: Sequence[str], share: float) -> list[LinearConstraint]:
    """Each block once; each RCD within its share; of each group to keep apart at most one block per RCD."""
    leaks = np.array([float(problem.block_mA(block)) for block in blocks])
    budgets = np.array([float(budget) for budget in problem.budgets_mA.values()])
    each_rcd = np.tile(np.eye(len(rcds)), (1, len(blocks)))
    once = np.kron(np.eye(len(blocks)), np.ones(len(rcds)))
    load = each_rcd * np.repeat(leaks, len(rcds))
    apart = [each_rcd * np.repeat(_members(blocks, group), len(rcds)) for group in problem.wishes.apart]
    return [
        LinearConstraint(once, 1, 1),
        LinearConstraint(load, -np.inf, budgets * share),
        *(LinearConstraint(rows, -np.inf, 1) for rows in apart),
    ]


def _members(blocks: Sequence[Sequence[str]], group: Sequence[str]) -> np.ndarray:
    """How many circuits of a group each block holds (two in one block can never be kept apart)."""
    return np.array([len(set(block) & set(group)) for block in blocks], dtype=float)


# ---------------------------------------------------------------- why there is none


def _why_not(problem: Problem) -> NoSplit:
    return _too_large(problem) or _too_much(problem) or _wishes_forbid(problem) or _does_not_pack(problem)


def _too_large(problem: Problem) -> NoSplit | None:
    bears = {circuit: problem.most_mA(circuit) for circuit in problem.leakages_mA}
    alone = tuple(circuit for circuit, leak in problem.leakages_mA.items() if leak > bears[circuit])
    if not alone:
        return None
    budget = max(bears[circuit] for circuit in alone)
    figures = ", ".join(f"{circuit} ({plain(problem.leakages_mA[circuit])} mA)" for circuit in alone)
    why = f"{figures} alone is beyond the {plain(budget)} mA that one RCD may carry: mend or divide it first"
    return NoSplit(why=why, forced_by=alone)


def _too_much(problem: Problem) -> NoSplit | None:
    total, room = sum(problem.leakages_mA.values(), Decimal(0)), sum(problem.budgets_mA.values(), Decimal(0))
    if total <= room:
        return None
    devices = "one RCD" if len(problem.budgets_mA) == 1 else f"{len(problem.budgets_mA)} RCDs"
    largest = max(problem.leakages_mA, key=lambda circuit: problem.leakages_mA[circuit])
    why = (
        f"all circuits together leak {plain(total)} mA, more than the {plain(room)} mA that {devices} "
        f"may carry; {largest} leaks most ({plain(problem.leakages_mA[largest])} mA)"
    )
    return NoSplit(why=why, forced_by=(largest,))


def _wishes_forbid(problem: Problem) -> NoSplit | None:
    if not _feasible(problem.model_copy(update={"wishes": Wishes()}), RULE):
        return None
    named = {c for group in (*problem.wishes.together, *problem.wishes.apart) for c in group} | set(
        problem.wishes.fixed
    )
    forcing = tuple(c for c in problem.leakages_mA if c in named and _feasible(problem.without(c), RULE))
    return NoSplit(
        why="it would meet the rule without the wishes for keeping together, apart or fixed", forced_by=forcing
    )


def _does_not_pack(problem: Problem) -> NoSplit:
    largest_first = sorted(problem.leakages_mA, key=lambda circuit: -problem.leakages_mA[circuit])
    forcing = tuple(circuit for circuit in largest_first if _feasible(problem.without(circuit), RULE))
    named = f"without {forcing[-1]} it would fit" if forcing else "taking one circuit away would not be enough"
    return NoSplit(why=f"the circuits do not pack into these RCDs; {named}", forced_by=forcing)


# ---------------------------------------------------------------- each circuit its own device


def own_devices(leakages_mA: Mapping[str, Decimal], rated_mA: Decimal, edition: Edition) -> tuple[Group, ...]:
    """Every circuit on an RCBO of its own: its share of that budget, fullest first."""
    budget = rated_mA * edition.leakage.share
    groups = [
        Group(rcd=f"RCBO {circuit}", circuits=(circuit,), leakage_mA=leak, share=leak / budget)
        for circuit, leak in leakages_mA.items()
    ]
    return tuple(sorted(groups, key=lambda group: -group.share))


def percent(share: Decimal) -> str:
    """A share as whole per cent."""
    return f"{plain(nearest(share * 100, 0))} %"
