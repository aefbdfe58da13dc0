"""The pgmpy network behind the two arrays: built, checked, exported, and used as the reference in tests.

pgmpy takes seconds to import, so this module is imported only where a network is wanted. Names and states are
identifier-like, because network files lose or merge anything else; words and units stay in the knowledge
file's labels.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Literal

from faultodds.errors import KnowledgeError
from faultodds.knowledge.schema import UNLISTED, ContextFact, EquipmentFact, Knowledge
from faultodds.knowledge.tables import MAIN_CAUSE, build_tables


def _quiet_pgmpy() -> tuple[Any, Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        from pgmpy.factors.discrete import TabularCPD
        from pgmpy.models import DiscreteBayesianNetwork
    return DiscreteBayesianNetwork, TabularCPD


def build_network(knowledge: Knowledge) -> Any:
    """The knowledge file as a checked `pgmpy.models.DiscreteBayesianNetwork`."""
    network_class, cpd_class = _quiet_pgmpy()
    tables = build_tables(knowledge)
    states = {t.node: list(t.states) for t in tables}
    network = network_class()
    network.add_nodes_from([t.node for t in tables])
    network.add_edges_from([(p, t.node) for t in tables for p in t.parents])
    for t in tables:
        flat = t.values.reshape(len(t.states), -1)
        names = {n: states[n] for n in (t.node, *t.parents)}
        cards = [len(states[p]) for p in t.parents]
        network.add_cpds(cpd_class(t.node, len(t.states), flat, list(t.parents) or None, cards or None, names))
    network.name = knowledge.appliance.id
    for node, label in labels(knowledge).items():
        network.nodes[node]["label"] = label
    if not network.check_model():
        raise KnowledgeError("pgmpy does not accept the network; please report this with the knowledge file.")
    return network


def labels(knowledge: Knowledge) -> dict[str, str]:
    """Words for nodes of the network: title, then each state with its words where they say more than the name.

    Fold steps have none. The words are cut down to what network files can hold.
    """
    from faultodds.knowledge.network_files import plain_words

    out = {MAIN_CAUSE: "the one cause this call is about", UNLISTED: knowledge.title_of(UNLISTED)}
    for name, component in knowledge.component.items():
        out[name] = _label(component.title, {mode: record.title for mode, record in component.modes.items()})
    facts: dict[str, ContextFact | EquipmentFact] = {**knowledge.context, **knowledge.equipment}
    for name, fact in facts.items():
        out[name] = _label(fact.ask, fact.values)
    for name, mechanism in knowledge.mechanism.items():
        out[name] = _label(mechanism.title, mechanism.states)
    for name, observable in knowledge.observables.items():
        out[name] = _label(observable.title, observable.outcomes)
    return {node: plain_words(text) for node, text in out.items()}


def _label(title: str, states: Mapping[str, str]) -> str:
    said = [f"{state} ({words})" for state, words in states.items() if words != state.replace("_", " ")]
    return f"{title}: {', '.join(said)}" if said else title


def export(knowledge: Knowledge, path: Path, form: Literal["bif", "xmlbif"], revision: str = "file") -> None:
    """Write the network as BIF or XMLBIF, with the appliance and `revision` named in a comment at its head.

    Every number is written so that it reads back as the same double. Raises FaultoddsError for a path that
    cannot be written.
    """
    from faultodds.knowledge.network_files import write_bif, write_xmlbif

    network = build_network(knowledge)
    network.graph["revision"] = revision
    (write_bif if form == "bif" else write_xmlbif)(network, path)
