"""The nets that the pgmpy wheel ships, turned into the project's two arrays where they fit its form.

The form: hypotheses whose joint states can be written out, and observables that are independent given them. A
set of leaves is chosen such that their ancestors have few enough joint states; every joint state becomes a
suspect, a mode is "node is in a state other than its first", and the leaves' tables are the likelihoods.
Ancestors can be observed as well, through a row that is 1 exactly where they have that state. What is dropped
is barren: it tells nothing about the rest.
"""

from __future__ import annotations

import gzip
import tempfile
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from faultodds.belief.suspects import Suspects

Array = np.ndarray[Any, Any]


@dataclass
class Net:
    """A discrete Bayesian network: states, parents, and `table[node][state, parent1, ...]`, columns summing to 1."""

    states: dict[str, list[str]]
    parents: dict[str, list[str]]
    table: dict[str, Array]

    @property
    def leaves(self) -> list[str]:
        """Nodes without children, sorted."""
        return sorted(set(self.states) - {p for ps in self.parents.values() for p in ps})

    def ancestors(self, node: str) -> set[str]:
        """Every node above `node`."""
        above: set[str] = set()
        todo = list(self.parents[node])
        while todo:
            parent = todo.pop()
            if parent not in above:
                above.add(parent)
                todo += self.parents[parent]
        return above


def bundled() -> dict[str, Path]:
    """Name and file of every net in the pgmpy wheel."""
    import pgmpy

    folder = Path(pgmpy.__file__).parent / "utils" / "example_models"
    return {p.name.removesuffix(".bif.gz"): p for p in sorted(folder.glob("*.bif.gz"))}


def node_count(path: Path) -> int:
    """How many nodes a bundled net has, without reading its tables."""
    with gzip.open(path, "rt") as file:
        return sum(line.startswith("variable ") for line in file)


def read(path: Path) -> Net:
    """A bundled net, normalised in double precision.

    Through pyAgrum's reader, which is quick (and of single precision); `child` has state names that it
    refuses, so that one is read by pgmpy.
    """
    with gzip.open(path, "rt") as file:
        text = file.read()
    return _read_by_pgmpy(text) if path.name.startswith("child.") else _read_by_pyagrum(text)


def _read_by_pyagrum(text: str) -> Net:
    import pyagrum as gum

    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "net.bif"
        plain.write_text(text)
        net = gum.loadBN(str(plain))
    states, parents, table = {}, {}, {}
    for node in sorted(net.names()):
        cpt = net.cpt(node)
        values = np.transpose(cpt.toarray())
        states[node] = list(net.variable(node).labels())
        parents[node] = list(cpt.names)[1:]
        table[node] = values / values.sum(axis=0)
    return Net(states, parents, table)


def _read_by_pgmpy(text: str) -> Net:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.readwrite import BIFReader
    cpds = {cpd.variable: cpd for cpd in BIFReader(string=text).get_model().get_cpds()}
    states = {n: [str(s) for s in cpds[n].state_names[n]] for n in sorted(cpds)}
    parents = {n: list(cpds[n].variables[1:]) for n in states}
    return Net(states, parents, {n: cpds[n].values / cpds[n].values.sum(axis=0) for n in states})


def as_gum(net: Net) -> Any:
    """The same numbers as a pyAgrum network."""
    import pyagrum as gum

    made = gum.BayesNet()
    for node, states in net.states.items():
        made.add(gum.LabelizedVariable(node, node, states))
    for node, parents in net.parents.items():
        for parent in parents:
            made.addArc(parent, node)
    for node, values in net.table.items():
        made.cpt(node)[:] = np.ascontiguousarray(np.transpose(values))
    return made


def as_pgmpy(net: Net) -> Any:
    """The same numbers as a pgmpy network."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.models import DiscreteBayesianNetwork
    made = DiscreteBayesianNetwork()
    made.add_nodes_from(net.states)
    made.add_edges_from([(p, n) for n, ps in net.parents.items() for p in ps])
    for node, values in net.table.items():
        parents = net.parents[node]
        names = {n: net.states[n] for n in (node, *parents)}
        cards = [len(net.states[p]) for p in parents]
        flat = values.reshape(len(values), -1)
        made.add_cpds(TabularCPD(node, len(values), flat, parents or None, cards or None, names))
    assert made.check_model()
    return made


def fit(net: Net, limit: int) -> tuple[list[str], list[str]]:
    """Leaves and their ancestors (parents first) such that the ancestors have at most `limit` joint states.

    Greedy: the leaf that needs the fewest joint states next, ties by name. No leaves at all when even the
    cheapest is too dear.
    """
    chosen: list[str] = []
    above: set[str] = set()
    while True:
        options = [(_size(net, above | net.ancestors(leaf)), leaf) for leaf in net.leaves if leaf not in chosen]
        if not options or min(options)[0] > limit:
            break
        leaf = min(options)[1]
        chosen.append(leaf)
        above |= net.ancestors(leaf)
    return chosen, sorted(above, key=lambda n: (len(net.ancestors(n)), n))


def smallest(net: Net) -> int:
    """Joint states that the cheapest leaf would need."""
    return min(_size(net, net.ancestors(leaf)) for leaf in net.leaves)


def _size(net: Net, nodes: set[str]) -> int:
    size = 1
    for node in nodes:
        size *= len(net.states[node])
    return size


def as_suspects(net: Net, leaves: list[str], above: list[str]) -> Suspects:
    """The two arrays of the chosen part of the net."""
    cards = [len(net.states[n]) for n in above]
    count = int(np.prod(cards))
    index = dict(zip(above, np.indices(cards).reshape(len(above), count), strict=True))
    strides = dict(zip(above, np.cumprod([1, *cards[::-1]])[:-1][::-1].tolist(), strict=True))
    prior = np.ones(count)
    for node in above:
        prior *= net.table[node][(index[node], *(index[p] for p in net.parents[node]))]
    rows = [net.table[n][(slice(None), *(index[p] for p in net.parents[n]))] for n in leaves]
    rows += [(index[n] == np.arange(len(net.states[n]))[:, None]).astype(float) for n in above]
    modes = [(n, s) for n in above for s in range(1, len(net.states[n]))]
    member = np.stack([index[n] == s for n, s in modes], axis=1)
    here = np.arange(count)
    without = np.stack([np.where(index[n] == s, here - s * strides[n], here) for n, s in modes], axis=1)
    return Suspects(
        modes=tuple(f"{n}.{net.states[n][s]}" for n, s in modes),
        mains=("any",),
        components=tuple(above),
        observables={n: tuple(net.states[n]) for n in (*leaves, *above)},
        fact_values={},
        lacks={},
        mechanism_states={},
        omitted_target=0.0,
        share=np.ones(1),
        given_main=prior[None, :],
        ok=np.ones((len(above), 1)),
        facts={},
        member=member,
        mechanism=np.zeros((0, count), np.int8),
        likelihood=np.concatenate(rows),
        without=without.astype(np.int32),
    )
