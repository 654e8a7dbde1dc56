"""The best split: equal to brute force for few circuits, never worse than the input, quick for many."""

import itertools
import time
from decimal import ROUND_CEILING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import OptimizeResult, milp

from tests.checking.sheets import AFTER, D, rcd
from voicelog.checking import regrouping
from voicelog.checking.regrouping import STEP, NoSplit, Problem, Split, even_share, first_step, own_devices, regroup
from voicelog.installation import Wishes

TWO = (rcd("R1"), rcd("R2"))


@pytest.mark.parametrize("late", ["when moves are counted", "always after"])
def test_a_search_cut_short_still_gives_a_split_or_says_so(monkeypatch, late):
    """A slow machine finds nothing within the time that one search may take."""
    asked = []

    def slow(cost, **more):
        asked.append(cost)
        nothing = cost.any() or (late == "always after" and any(one.any() for one in asked))
        return OptimizeResult(x=None, status=1) if nothing else milp(cost, **more)

    monkeypatch.setattr(regrouping, "milp", slow)
    found = regroup(named("5", "5", "3"), TWO, {"c1": "R2"}, AFTER)
    if late == "always after":
        assert isinstance(found, NoSplit) and "time" in found.why
    else:
        assert isinstance(found, Split) and not found.proven and found.worst_share <= 1


def named(*leaks: str) -> dict[str, D]:
    return {f"c{i}": D(leak) for i, leak in enumerate(leaks, start=1)}


def brute_force(leaks, rcds, current, wishes=Wishes()) -> tuple[D, int] | None:  # noqa: B008
    """Try everything: the best step of the ladder, and the fewest moves on it; None when nothing meets the rule."""
    budgets = {r.reference: int(r.rated_residual_current_mA) * 300 for r in rcds}  # uA
    sizes = [int(leak * 1000) for leak in leaks.values()]
    places = [list(budgets).index(current[c]) if current.get(c) in budgets else -1 for c in leaks]
    found = []
    for chosen in itertools.product(range(len(budgets)), repeat=len(leaks)):
        loads = [0] * len(budgets)
        for size, place in zip(sizes, chosen, strict=True):
            loads[place] += size
        if any(load > budget for load, budget in zip(loads, budgets.values(), strict=True)):
            continue
        if respects(dict(zip(leaks, (list(budgets)[i] for i in chosen), strict=True)), wishes):
            worst = max(D(load) / budget for load, budget in zip(loads, budgets.values(), strict=True))
            found.append((step_at(worst, leaks, rcds), sum(a != b for a, b in zip(chosen, places, strict=True))))
    return min(found, default=None)


def respects(target, wishes) -> bool:
    together = all(len({target[c] for c in group if c in target}) <= 1 for group in wishes.together)
    apart = all(len({target[c] for c in group}) == len(group) for group in wishes.apart)
    return together and apart and all(target[c] == r for c, r in wishes.fixed.items())


def step_at(worst: D, leaks, rcds) -> D:
    """The step of the ladder that a worst share stands on."""
    budgets = {r.reference: D(r.rated_residual_current_mA) * D("0.3") for r in rcds}
    start = first_step(even_share(Problem(leakages_mA=leaks, budgets_mA=budgets, current={})))
    above = ((worst - start) / STEP).to_integral_value(rounding=ROUND_CEILING)
    return min(start + max(above, D(0)) * STEP, D(1))


PROBLEMS = st.tuples(
    st.lists(st.decimals("0.1", "6", places=1), min_size=1, max_size=7),
    st.integers(1, 3),
    st.lists(st.integers(0, 2), min_size=8, max_size=8),
)


@settings(max_examples=25, deadline=None)
@given(PROBLEMS)
def test_equal_to_brute_force(problem):
    sizes, count, places = problem
    leaks = {f"c{i}": leak for i, leak in enumerate(sizes)}
    rcds = [rcd(f"R{i}") for i in range(count)]
    current = {c: f"R{places[i] % count}" for i, c in enumerate(leaks)}
    expected, found = brute_force(leaks, rcds, current), regroup(leaks, rcds, current, AFTER)
    if expected is None:
        assert isinstance(found, NoSplit)
        return
    assert found.proven
    assert (step_at(found.worst_share, leaks, rcds), len(found.moves)) == expected


@settings(max_examples=15, deadline=None)
@given(PROBLEMS)
def test_never_worse_than_the_input(problem):
    sizes, count, places = problem
    leaks = {f"c{i}": leak for i, leak in enumerate(sizes)}
    rcds = [rcd(f"R{i}") for i in range(count)]
    current = {c: f"R{places[i] % count}" for i, c in enumerate(leaks)}
    before = max(sum((leaks[c] for c in leaks if current[c] == r.reference), D(0)) / 9 for r in rcds)
    found = regroup(leaks, rcds, current, AFTER)
    if before <= 1:
        assert found.worst_share <= before or found.worst_share <= first_step(found.even_share)
        assert not found.moves or found.worst_share < before
        assert not regroup(leaks, rcds, current, AFTER, goal="fewest moves").moves


@settings(max_examples=15, deadline=None)
@given(PROBLEMS)
def test_every_circuit_is_on_one_rcd_and_sums_agree(problem):
    sizes, count, _ = problem
    leaks = {f"c{i}": leak for i, leak in enumerate(sizes)}
    found = regroup(leaks, [rcd(f"R{i}") for i in range(count)], {}, AFTER)
    if isinstance(found, Split):
        assert sorted(c for group in found.groups for c in group.circuits) == sorted(leaks)
        assert sum(group.leakage_mA for group in found.groups) == sum(sizes)
        assert all(group.share <= 1 for group in found.groups)


def test_eight_circuits_on_three_rcds_equal_brute_force():
    leaks = named("4.1", "3.3", "2.9", "2.4", "2.0", "1.7", "1.2", "0.6")
    rcds, current = [rcd(f"R{i}") for i in range(3)], dict.fromkeys(leaks, "R0")
    found = regroup(leaks, rcds, current, AFTER)
    assert (step_at(found.worst_share, leaks, rcds), len(found.moves)) == brute_force(leaks, rcds, current)


def test_wishes_equal_brute_force():
    leaks = named("4.0", "3.0", "2.5", "2.0", "1.5", "1.0")
    current = dict.fromkeys(leaks, "R1")
    wishes = Wishes(together=(("c1", "c4"),), apart=(("c2", "c3"),), fixed={"c6": "R2"})
    found = regroup(leaks, TWO, current, AFTER, wishes)
    target = {c: group.rcd for group in found.groups for c in group.circuits}
    assert respects(target, wishes)
    assert (step_at(found.worst_share, leaks, TWO), len(found.moves)) == brute_force(leaks, TWO, current, wishes)


def test_fewest_moves_that_meet_the_rule():
    leaks = named("5.0", "3.0", "2.0", "1.5")
    found = regroup(leaks, TWO, dict.fromkeys(leaks, "R1"), AFTER, goal="fewest moves")
    assert len(found.moves) == 1 and found.worst_share <= 1


def test_rcds_of_different_ratings_have_different_budgets():
    leaks = named("20", "8")
    found = regroup(leaks, (rcd("R1"), rcd("R2", "100")), {}, AFTER)
    assert {g.rcd: g.circuits for g in found.groups} == {"R1": ("c2",), "R2": ("c1",)}


@pytest.mark.parametrize(
    ("leaks", "wishes", "why", "forced"),
    [
        (("9.5", "1.0"), Wishes(), "alone is beyond the 9.0 mA", ("c1",)),
        (("8.0", "7.0", "6.0"), Wishes(), "more than the 18.0 mA", ("c1",)),
        (("6.0", "6.0", "5.5"), Wishes(), "do not pack", ("c1", "c2", "c3")),
        (("5.0", "5.0", "1.0"), Wishes(together=(("c1", "c2"),)), "without the wishes", ("c1", "c2")),
        (("5.0", "4.5"), Wishes(fixed={"c1": "R1", "c2": "R1"}), "without the wishes", ("c1", "c2")),
        (("1.0", "1.0", "1.0"), Wishes(apart=(("c1", "c2", "c3"),)), "without the wishes", ("c1", "c2", "c3")),
        (("1.0",), Wishes(fixed={"c1": "R9"}), "without the wishes", ("c1",)),
    ],
)
def test_no_split_says_why_and_who_forces_it(leaks, wishes, why, forced):
    found = regroup(named(*leaks), TWO, {}, AFTER, wishes)
    assert isinstance(found, NoSplit)
    assert why in found.why and found.forced_by == forced


def test_nothing_to_split():
    assert isinstance(regroup({}, TWO, {}, AFTER), NoSplit)
    assert isinstance(regroup(named("1.0"), (), {}, AFTER), NoSplit)


def test_each_circuit_on_its_own_device():
    groups = own_devices(named("2.0", "9.5"), D(30), AFTER)
    assert [g.circuits for g in groups] == [("c2",), ("c1",)] and groups[0].share > 1


@pytest.mark.parametrize("seed", range(5))
def test_forty_circuits_on_six_rcds(seed):
    """Exact, and in well under a second on a quiet machine; the bound here leaves room for a busy one."""
    draw = np.random.default_rng(seed)
    leaks = {f"c{i}": D(f"{x:.2f}") for i, x in enumerate(draw.lognormal(-0.5, 0.8, 40))}
    rcds = [rcd(f"R{i}") for i in range(6)]
    current = {c: f"R{draw.integers(0, 2)}" for c in leaks}
    start = time.process_time()
    found = regroup(leaks, rcds, current, AFTER)
    assert time.process_time() - start < 3
    assert found.proven and found.worst_share <= first_step(found.even_share)
