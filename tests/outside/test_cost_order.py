"""In which order to try what costs differently: the engine's bits per second beside the p / C rule.

Sources: the rule (independent actions, single fault, sort by p / C) due to Kadane and Simon 1975, as the abstract of
arXiv 1203.3502 tells it. The two examples and their expected costs are *computed* from its formula
ECR = sum C_i (1 - sum of p_j before), the second against all 120 orders.

The ways of going on are ranked by that rule. Touches are ranked by information per second, which is not that rule;
shown here: the first ranking of touches that each settle one suspect costs no more on these examples than the best
order. Does not prove it for all.
"""

import math
from itertools import permutations

import pytest

from server.engine import latent
from server.engine.options import p_per_cost
from server.engine.worth import effective_seconds

EXAMPLES = [
    ((0.5, 0.3, 0.2), (10.0, 3.0, 4.0), 10.8),
    ((0.4, 0.25, 0.2, 0.1, 0.05), (20.0, 5.0, 2.0, 1.0, 8.0), 15.7),
]


def expected_cost(order: tuple[int, ...], chances: tuple[float, ...], costs: tuple[float, ...]) -> float:
    left, total = 1.0, 0.0
    for one in order:
        total += costs[one] * left
        left -= chances[one]
    return total


@pytest.mark.parametrize(("chances", "costs", "best"), EXAMPLES)
def test_the_rule_is_the_best_of_all_orders(chances: tuple[float, ...], costs: tuple[float, ...], best: float) -> None:
    every = [expected_cost(order, chances, costs) for order in permutations(range(len(costs)))]
    by_rule = tuple(sorted(range(len(costs)), key=lambda one: -p_per_cost(chances[one], costs[one])))
    assert min(every) == pytest.approx(best, abs=1e-9)
    assert expected_cost(by_rule, chances, costs) == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize(("chances", "costs", "best"), EXAMPLES)
def test_bits_per_second_costs_no_more_here(chances: tuple[float, ...], costs: tuple[float, ...], best: float) -> None:
    places = range(len(costs))
    priors = [math.log(p) for p in chances]
    settles = [[(1.0, 0.0), (0.0, 1.0)]] * len(costs)
    model = latent.LatentModel(settles, priors, [[(n, 1)] for n in places], list(places))
    gains = latent.story_gains(model, latent.posterior(model.log_priors), list(places))
    worth = [gains[n] / effective_seconds(costs[n], 0.0, 0, data_matters=False) for n in places]
    order = tuple(sorted(places, key=lambda n: -worth[n]))
    assert expected_cost(order, chances, costs) == pytest.approx(best, abs=1e-9)
    cheapest_first = tuple(sorted(places, key=lambda n: costs[n]))
    likeliest_first = tuple(sorted(places, key=lambda n: -chances[n]))
    for other in (cheapest_first, likeliest_first):
        assert expected_cost(other, chances, costs) >= best - 1e-9


def test_by_chance_or_by_cost_alone_is_dearer_in_the_second_example() -> None:
    chances, costs, _ = EXAMPLES[1]
    assert expected_cost((0, 1, 2, 3, 4), chances, costs) == pytest.approx(24.25)
    assert expected_cost((3, 2, 1, 4, 0), chances, costs) == pytest.approx(17.9)
