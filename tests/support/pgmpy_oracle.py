"""The same latent-class model as a Bayesian network of pgmpy, asked by variable elimination.

Nodes: S (story), D (decision, a function of S), per variable G_c (signature, a function of S) and O_c
(outcome, given G_c). Only the model's own lists are shared with the engine; the arithmetic is pgmpy's
(MIT licence; used, not copied). Belief propagation is avoided: it took minutes where this takes
milliseconds.
"""

import math
import warnings
from typing import Any

from server.engine.latent import LatentModel

with warnings.catch_warnings():
    # pgmpy 1.1 warns of a module of its own that its own package still imports.
    warnings.filterwarnings("ignore", message=".*StructureScore.* is deprecated", category=FutureWarning)
    from pgmpy.factors.discrete import TabularCPD
    from pgmpy.inference import VariableElimination
    from pgmpy.models import DiscreteBayesianNetwork


class Oracle:
    """Exact answers from pgmpy for one model."""

    def __init__(self, model: LatentModel) -> None:
        self.model = model
        network = DiscreteBayesianNetwork()
        n_stories = len(model.log_priors)
        top = max(model.log_priors)
        priors = [math.exp(log_prior - top) for log_prior in model.log_priors]
        total = math.fsum(priors)
        network.add_node("S")
        cpds = [TabularCPD("S", n_stories, [[p / total] for p in priors])]
        network.add_edge("S", "D")
        cpds.append(_function_of_story("D", model.n_decisions, model.decisions))
        for c, of_variable in enumerate(model.signatures):
            chosen = [dict(footprint).get(c, 0) for footprint in model.footprints]
            n_signatures = len(of_variable)
            columns = [[q[o] for q in of_variable] for o in range(len(of_variable[0]))]
            network.add_edges_from([("S", f"G{c}"), (f"G{c}", f"O{c}")])
            cpds.append(_function_of_story(f"G{c}", n_signatures, chosen))
            cpds.append(TabularCPD(f"O{c}", len(columns), columns, [f"G{c}"], [n_signatures]))
        network.add_cpds(*cpds)
        if not network.check_model():
            raise AssertionError("pgmpy refuses the network")
        self._elimination = VariableElimination(network)

    def ask(self, node: str, observed: dict[int, int]) -> list[float]:
        """Distribution of one node given the observed outcomes."""
        evidence: Any = {f"O{c}": o for c, o in observed.items()}
        answer: Any = self._elimination.query([node], evidence=evidence, show_progress=False)
        return [float(p) for p in answer.values]

    def gain(self, hidden: str, variable: int, observed: dict[int, int]) -> float:
        """Bits the outcome of `variable` is expected to take off the entropy of S or D, by looking ahead."""
        gain = _entropy(self.ask(hidden, observed))
        for o, p in enumerate(self.ask(f"O{variable}", observed)):
            if p > 0:
                gain -= p * _entropy(self.ask(hidden, {**observed, variable: o}))
        return gain


class PlainOracle:
    """pgmpy's quickest way to the plain questions: no signature nodes, outcomes hang on the story itself."""

    def __init__(self, model: LatentModel) -> None:
        top = max(model.log_priors)
        priors = [math.exp(log_prior - top) for log_prior in model.log_priors]
        total = math.fsum(priors)
        network = DiscreteBayesianNetwork()
        network.add_node("S")
        cpds = [TabularCPD("S", len(priors), [[p / total] for p in priors])]
        for c, of_variable in enumerate(model.signatures):
            rows = [of_variable[dict(footprint).get(c, 0)] for footprint in model.footprints]
            network.add_edge("S", f"O{c}")
            columns = [[row[o] for row in rows] for o in range(len(rows[0]))]
            cpds.append(TabularCPD(f"O{c}", len(columns), columns, ["S"], [len(priors)]))
        network.add_cpds(*cpds)
        self._elimination = VariableElimination(network)

    def every_question(
        self, unread: list[int], observed: dict[int, int]
    ) -> tuple[list[float], list[list[float]], list[float]]:
        """Story posterior, prediction of each unread variable, gain about the story of each."""
        seen = {f"O{c}": o for c, o in observed.items()}
        post = self._ask("S", seen)
        entropy_now = _entropy(post)
        predictions, gains = [], []
        for c in unread:
            prediction = self._ask(f"O{c}", seen)
            after = [_entropy(self._ask("S", {**seen, f"O{c}": o})) for o in range(len(prediction))]
            predictions.append(prediction)
            gains.append(entropy_now - math.fsum(p * h for p, h in zip(prediction, after, strict=True)))
        return post, predictions, gains

    def _ask(self, node: str, evidence: Any) -> list[float]:
        answer: Any = self._elimination.query([node], evidence=evidence, show_progress=False)
        return [float(p) for p in answer.values]


def _function_of_story(node: str, n_values: int, value_of: list[int]) -> TabularCPD:
    rows = [[1.0 if value == wanted else 0.0 for value in value_of] for wanted in range(n_values)]
    return TabularCPD(node, n_values, rows, ["S"], [len(value_of)])


def _entropy(distribution: list[float]) -> float:
    return math.fsum(-p * math.log2(p) for p in distribution if p > 0)
