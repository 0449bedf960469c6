"""The order of a build as plain text, for a terminal or a plain printer."""

import textwrap
from collections.abc import Iterable, Iterator, Sequence

from benchflow.ordering.pictures.order_graph import GraphRule, OperationGroup, OrderGraph
from benchflow.ordering.state_machine import closure
from benchflow.ordering.wording import all_of, in_a_sentence, one_of
from benchflow.procedure.model import Settings, Values

WIDEST = 100


def order_graph_text(graph: OrderGraph, groups: Sequence[OperationGroup], *, width: int = WIDEST) -> tuple[str, ...]:
    """The graph as lines of at most ``width`` characters (at least 40). A word longer than a line is broken."""
    return tuple(_OrderText(graph, groups, max(width, 40)).lines())


class GraphNames:
    """The labels used in text and picture: numbers of operations, letters of moves, texts of values."""

    def __init__(self, graph: OrderGraph, groups: Sequence[OperationGroup]) -> None:
        self._state = {state.name: state for state in graph.states}
        self._words = {(s.name, value.value): value.words for s in graph.states for value in s.values}
        self._group = {step: group for group in groups for step in group.steps}
        self._number = {operation.id: operation.number for operation in graph.operations}
        self._letter = {move.id: move.letter for move in graph.moves}
        self._before = closure([sum(1 << self._number[name] - 1 for name in one.after) for one in graph.operations])

    def state(self, name: str) -> str:
        return in_a_sentence(self._state[name].title) if name in self._state else name

    def value(self, name: str, value: str) -> str:
        return self._words.get((name, value), value)

    def needs(self, needs: Values) -> list[str]:
        """One text per variable, such as ``pistons half way down or on the mark``."""
        return [f"{self.state(n)} {one_of(self.value(n, value) for value in values)}" for n, values in needs.items()]

    def settings(self, settings: Settings) -> list[str]:
        """One text per variable, such as ``valves open``."""
        return [f"{self.state(name)} {self.value(name, value)}" for name, value in settings.items()]

    def numbers(self, steps: Iterable[str]) -> list[str]:
        """The numbers of the steps. If all steps of a group are included, they are combined, such as ``4–7``."""
        wanted = list(steps)
        found: list[str] = []
        for step in wanted:
            group = self._group[step]
            whole = set(group.steps) <= set(wanted)
            found.append(group.numbers if whole else str(self._number[step]))
        return list(dict.fromkeys(found))

    def actions(self, steps: Iterable[str], moves: Iterable[str]) -> list[str]:
        """Labels of steps and moves, such as ``12``, ``30–33``, ``move A``."""
        return [*self.numbers(steps), *(f"move {self._letter[move]}" for move in moves)]

    def after(self, group: OperationGroup, groups: Sequence[OperationGroup]) -> list[str]:
        """Numbers of the groups that come before this one."""
        return [groups[edge.group].numbers + (" (each its own)" if edge.by_place else "") for edge in group.after]

    def windows(self, group: OperationGroup) -> list[str]:
        """The time windows of a group, such as ``at most 10 min since 31``.

        Each repeat of an operation counts from the earlier operation at the same place, so the text names the whole
        earlier group.
        """
        since: dict[str, list[str]] = {}
        for window in group.first.windows:
            since.setdefault(window.text, []).append(window.operation)
        lines = []
        for text, operations in since.items():
            names = [self._group[one].numbers if len(group.steps) > 1 else str(self._number[one]) for one in operations]
            lines.append(f"{text} since {all_of(dict.fromkeys(names))}")
        return lines

    def setters(self, group: OperationGroup, name: str, values: Sequence[str]) -> list[str]:
        """The labels of the actions that may have given the variable one of the values before the group starts.

        Operations after the group are left out. The first label is ``the start`` if the start has one of the values.
        """
        state = self._state.get(name)
        if state is None:
            return []
        wanted = [value for value in state.values if value.value in values]
        actions = self.actions(
            dict.fromkeys(step for value in wanted for step in value.operations if not self._is_later(step, group)),
            dict.fromkeys(move for value in wanted for move in value.moves),
        )
        return (["the start"] if any(value.at_start for value in wanted) else []) + actions

    def _is_later(self, step: str, group: OperationGroup) -> bool:
        """True if the step is, or comes after, every step of the group."""
        before = self._before[self._number[step] - 1]
        return all(step == one or before >> self._number[one] - 1 & 1 for one in group.steps)

    def rule(self, rule: GraphRule) -> str:
        return all_of(self.needs(rule.never))


class _OrderText:
    def __init__(self, graph: OrderGraph, groups: Sequence[OperationGroup], width: int) -> None:
        self._graph = graph
        self._groups = groups
        self._width = width
        self._names = GraphNames(graph, groups)
        self._side = max((len(group.numbers) for group in groups), default=1) + 3

    def lines(self) -> Iterator[str]:
        graph = self._graph
        yield from self._wrapped(f"{graph.title}, revision {graph.revision}")
        if graph.notice:
            yield from self._wrapped(graph.notice)
        if graph.options:
            chosen = ", ".join(f"{name}: {choice}" for name, choice in graph.options.items())
            yield from self._wrapped(f"For {chosen}. Other choices: --option name=choice")
        for cycle in graph.cycles:
            yield from self._wrapped(f"IN A CYCLE, can never be done: {all_of(self._names.numbers(cycle))}.")
        for section in graph.sections:
            yield ""
            yield from self._wrapped(section.title.upper())
            for group in self._groups:
                if group.first.id in section.operations:
                    yield from self._operation(group)
        yield from self._states()
        yield from self._moves()
        yield from self._rules()

    def _operation(self, group: OperationGroup) -> Iterator[str]:
        names, first = self._names, group.first
        yield from self._wrapped(group.title, head=group.numbers.rjust(self._side - 2))
        if first.condition:
            yield from self._detail("only", first.condition.removeprefix("only "))
        after = names.after(group, self._groups)
        if after:
            yield from self._detail("after", ", ".join(after))
        if group.order:
            yield from self._detail("in order", ", ".join(group.order))
        for name, values in first.needs.items():
            setters = names.setters(group, name, values)
            source = f" ← {one_of(setters)}" if setters else ""
            yield from self._detail("needs", f"{names.needs({name: values})[0]}{source}")
        for window in names.windows(group):
            yield from self._detail("time", window)
        if first.during:
            yield from self._detail("during", ", ".join(names.settings(first.during)))
        if first.sets:
            yield from self._detail("then", ", ".join(names.settings(first.sets)))
        if first.sign:
            yield from self._detail("hold", f"to be signed by {first.sign} before any later operation starts")

    def _states(self) -> Iterator[str]:
        if not self._graph.states:
            return
        yield from self._heading("STATES AND WHAT SETS THEM")
        for state in self._graph.states:
            asked = ": asked for at the start" if state.start is None else ""
            yield from self._wrapped(state.title[:1].upper() + state.title[1:] + asked)
            wide = min(max(len(value.words) for value in state.values), 24)
            for value in state.values:
                actions = self._names.actions(value.operations, value.moves)
                held = self._names.numbers(value.held)
                sources = ["at the start"] if value.at_start and state.start else []
                sources += [f"by {', '.join(actions)}"] if actions else []
                sources += [f"during {', '.join(held)}"] if held else []
                otherwise = "only if so at the start" if state.start is None else "never"
                yield from self._wrapped("; ".join(sources) or otherwise, head=f"    {value.words.ljust(wide)}")

    def _moves(self) -> Iterator[str]:
        if not self._graph.moves:
            return
        yield from self._heading("MOVES, MADE BETWEEN OPERATIONS AS OFTEN AS NEEDED")
        for move in self._graph.moves:
            yield from self._wrapped(move.title, head=move.letter.rjust(self._side - 2))
            for need in self._names.needs(move.needs):
                yield from self._detail("needs", need)
            if move.during:
                yield from self._detail("during", ", ".join(self._names.settings(move.during)))
            yield from self._detail("then", ", ".join(self._names.settings(move.sets)))

    def _rules(self) -> Iterator[str]:
        if not self._graph.rules:
            return
        yield from self._heading("NEVER TOGETHER")
        for rule in self._graph.rules:
            yield from self._wrapped(self._names.rule(rule), head="  -")
            if rule.because:
                yield from self._wrapped(rule.because, head="   ")
            checked = self._names.actions(rule.operations, rule.moves)
            if checked:
                yield from self._wrapped(f"checked at {', '.join(checked)}", head="   ")

    # --- lines ------------------------------------------------------------------------------------

    def _heading(self, text: str) -> Iterator[str]:
        yield ""
        yield text

    def _detail(self, label: str, text: str) -> Iterator[str]:
        return self._wrapped(text, head=f"{'':{self._side}}{label:<8}")

    def _wrapped(self, text: str, head: str = "") -> Iterator[str]:
        lead = f"{head}  " if head else ""
        lines = textwrap.wrap(
            " ".join(text.split()), self._width, initial_indent=lead, subsequent_indent=" " * len(lead)
        )
        yield from lines or [lead.rstrip()]
