"""What is true of a fault: every state of the good circuit and the faulty one, walked with the oracle's own steps."""

from __future__ import annotations

from oracle.search import Behaviour
from oracle.targets import Work
from verifier.circuit.netlist import NetId, Netlist
from verifier.claims.run import Instant


class Pair:
    """A good circuit and a faulty one. Nets keep their numbers; the faulty one may have more, and more inputs."""

    def __init__(self, good: Netlist, faulty: Netlist, work: Work) -> None:
        self.good, self.faulty = Behaviour(good, work), Behaviour(faulty, work)
        self._work = work
        self._good_netlist = good
        theirs = {pin.name: pin.nets for pin in faulty.outputs}
        self._outputs: list[tuple[NetId, NetId]] = [
            pair for pin in good.outputs for pair in zip(pin.nets, theirs[pin.name], strict=True)
        ]

    def shortest_telling(self) -> int | None:
        """Instants of the shortest run of the faulty circuit that no run of the good one matches, if there is one."""
        firsts = {arrival.instant for arrival in self.faulty.first()}
        level = {(first, self.matching_first(first)) for first in firsts}
        seen = set(level)
        length = 1
        while level:
            if any(not good for _, good in level):
                return length
            following: set[tuple[Instant, frozenset[Instant]]] = set()
            for instant, good in level:
                for arrival in self.faulty.after(instant):
                    self._work.spend(1 + len(good))
                    node = (arrival.instant, self.matching_after(good, arrival.instant))
                    if node not in seen:
                        seen.add(node)
                        following.add(node)
            level = following
            length += 1
        return None

    def matching_first(self, shown: Instant) -> frozenset[Instant]:
        """Power-up states of the good circuit with these inputs that show these outputs."""
        firsts = {arrival.instant for arrival in self.good.first()}
        return frozenset(one for one in firsts if self._same_inputs(one, shown) and self._agree(one, shown))

    def matching_after(self, before: frozenset[Instant], shown: Instant) -> frozenset[Instant]:
        found: set[Instant] = set()
        for one in before:
            inputs = self.good.steps.inputs_at(shown[: len(self._good_netlist.nets)])
            found.update(
                arrival.instant for arrival in self.good.step(one, inputs) if self._agree(arrival.instant, shown)
            )
        return frozenset(found)

    def _same_inputs(self, good: Instant, shown: Instant) -> bool:
        return all(good[net] == shown[net] for net in self._good_netlist.input_nets)

    def _agree(self, good: Instant, shown: Instant) -> bool:
        return all(good[net] == shown[other] for net, other in self._outputs)
