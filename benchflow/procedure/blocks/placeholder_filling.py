"""Replaces the placeholders of a block by the given values, and renames the names that the block defines.

A node that is only a placeholder is replaced by the whole given node. A placeholder in a text is replaced by text;
``{Number}`` is the text of the parameter ``number`` with a capital first letter.
Filling is one pass: a given text may contain ``{side}``, which is left for the reader.
"""

import re
from collections.abc import Callable, Mapping

from benchflow.procedure.blocks.figure_arithmetic import CannotCalculate, calculated_text
from benchflow.procedure.blocks.name_roles import (
    FORMULA,
    LIMIT,
    OWN,
    PLAIN,
    REF,
    KeyRoles,
    Role,
    renamed_in_formula,
    renamed_in_limit,
    renamed_reference,
)
from benchflow.procedure.blocks.parameter_kinds import ASK, Argument
from benchflow.procedure.model import Mark
from benchflow.procedure.placeholders import PLACEHOLDER
from benchflow.procedure.problems import hint_for
from benchflow.procedure.yaml_source.yaml_nodes import (
    NodeOrigin,
    UseSite,
    YamlMapping,
    YamlNode,
    YamlScalar,
    YamlSequence,
)

_name = re.compile(r"[A-Za-z][A-Za-z0-9_]*(?:-+[A-Za-z0-9_]+)*")
_number = re.compile(r" *\d+\. +")
_start_of_line = re.compile(r" *(?:(?:\d+\.|[-*•]) +)?")
CONDITIONS = ("given", "unless")

Report = Callable[[str, Mark, str, str], None]
"""Reports a problem of a block: code, place in the block, message, hint."""
Count = Callable[[int], None]
"""Counts nodes that are written out."""
CHARACTERS_OF_NODE = 8
"""The number of characters of a text that count as a node."""


class Filling:
    """Fills in the nodes of one block for one use.

    ``rename`` maps a name that the block defines to its final name, and returns any other name unchanged. ``rename_at``
    gives this function for an outer block, whose texts are given to this one.
    """

    def __init__(
        self,
        file: str,
        site: UseSite,
        given: Mapping[str, Argument],
        rename: Callable[[str], str],
        report: Report,
        count: Count,
        rename_at: Callable[[UseSite], Callable[[str], str]],
        unknown: Callable[[str, Mark], None] = lambda name, mark: None,
    ) -> None:
        self._file, self._site, self._given, self._rename = file, site, given, rename
        self._report, self._count, self._rename_at, self._unknown = report, count, rename_at, unknown
        self._capitals = {_capital(name): name for name in given if _capital(name) not in given}
        self._quantities = {
            name: each.quantity for name, each in given.items() if each.quantity is not None and not each.is_asked
        }

    # --- whole nodes --------------------------------------------------------------------------------

    def filled(self, node: YamlNode, role: Role) -> YamlNode | None:
        """The node filled in; ``None`` if it is left out."""
        self._count(1)
        only = self.only_placeholder(node)
        if only is not None:
            return self._in_place_of(only, node, role)
        if isinstance(node, YamlScalar):
            return self._scalar(node, role if isinstance(role, str) else _of_scalar(role))
        if isinstance(node, YamlSequence):
            return self._sequence(node, role)
        return self._mapping(node, role)

    def only_placeholder(self, node: YamlNode) -> str | None:
        """The text between the braces if a node is only one placeholder of the block; otherwise ``None``."""
        if isinstance(node, YamlScalar):
            found = PLACEHOLDER.fullmatch(node.text.strip())
            inside = None if found is None or found[1] is None else found[1].strip()
        elif isinstance(node, YamlMapping) and node.flow and len(node.pairs) == 1 and _is_blank(node.pairs[0][1]):
            inside = node.pairs[0][0].text.strip()
            if not self._has_parameter(inside):
                hint = hint_for(inside, self._given, "The block has no parameter")
                self._report("unknown-placeholder", node.mark, f"`{{{inside[:40]}}}` is not a parameter", hint)
        else:
            return None
        return inside if inside is not None and self._has_parameter(inside) else None

    def _has_parameter(self, text: str) -> bool:
        return text in self._given or text in self._capitals or any(name in self._given for name in _name.findall(text))

    def _in_place_of(self, only: str, node: YamlNode, role: Role) -> YamlNode | None:
        """The node in place of one that is only the placeholder ``only``."""
        found = self._given.get(only)
        if found is None and only in self._capitals:
            if self._given[self._capitals[only]].node is None:
                return None
            text = self._text_of(only, node.mark)
            return YamlScalar(text, node.line, node.column, False, None, origin=self._at(node))
        if found is not None:
            return None if found.node is None else self._passed(found.node, node.mark, role)
        if any(self._given[name].node is None for name in _name.findall(only) if name in self._given):
            return None
        return YamlScalar(self._calculated(only, node.mark), node.line, node.column, True, None, origin=self._at(node))

    def _passed(self, node: YamlNode, mark: Mark, role: Role) -> YamlNode:
        """A copy of a given node for the placeholder at ``mark``, with the new names of its block."""
        self._count(1)
        origin = node.origin or NodeOrigin("", node.line, node.column)
        if origin.site is None:
            origin = NodeOrigin(origin.file, origin.line, origin.column, None, f"{self._file}:{mark.line}")
        if isinstance(node, YamlScalar):
            text = self._with_names_of_its_block(node, role if isinstance(role, str) else _of_scalar(role))
            offset = node.offset if text == node.text else None
            return YamlScalar(text, node.line, node.column, node.plain, offset, node.indent, node.unreadable, origin)
        if isinstance(node, YamlSequence):
            items = [self._passed(item, mark, role) for item in node.items]
            return YamlSequence(items, node.line, node.column, origin)
        pairs: list[tuple[YamlScalar, YamlNode]] = []
        for key, value in node.pairs:
            key_role, value_role = _roles_of_pair(node, key.text, role)
            new_key = self._passed(key, mark, key_role)
            assert isinstance(new_key, YamlScalar)
            pairs.append((new_key, self._passed(value, mark, value_role)))
        return YamlMapping(pairs, [], node.line, node.column, node.flow, origin)

    def _with_names_of_its_block(self, node: YamlScalar, role: str) -> str:
        """The text of a given node, with the new names of the block that it is written in."""
        site = None if node.origin is None else node.origin.site
        return node.text if site is None else _renamed(node.text, role, self._rename_at(site), [])

    def _at(self, node: YamlNode) -> NodeOrigin:
        return NodeOrigin(self._file, node.line, node.column, self._site)

    def _sequence(self, node: YamlSequence, role: Role) -> YamlNode | None:
        items: list[YamlNode] = []
        for item in node.items:
            if not self.is_kept(item):
                continue
            only = self.only_placeholder(item)
            filled = self.filled(item, role)
            if only is not None and isinstance(filled, YamlSequence):
                items += filled.items
            elif only is not None and self._is_asked_torque(only, filled):
                items.append(self._asked_stage(item))
            elif filled is not None:
                items.append(filled)
        if node.items and not items:
            return None
        return YamlSequence(items, node.line, node.column, self._at(node))

    def _is_asked_torque(self, only: str, filled: YamlNode | None) -> bool:
        """True for a torque that is still to be filled in. As a stage it needs a key."""
        named = [self._given[name] for name in (only, *_name.findall(only)) if name in self._given]
        asked = isinstance(filled, YamlScalar) and filled.text == ASK
        return asked and any(each.parameter.kind == "torque" for each in named)

    def _asked_stage(self, item: YamlNode) -> YamlNode:
        key, value = (YamlScalar(text, item.line, item.column, True, None, origin=self._at(item))
                      for text in ("torque", ASK))  # fmt: skip
        return YamlMapping([(key, value)], [], item.line, item.column, True, self._at(item))

    def _mapping(self, node: YamlMapping, role: Role) -> YamlNode | None:
        pairs: list[tuple[YamlScalar, YamlNode]] = []
        for key, value in (*node.pairs, *node.repeated):
            if key.text in CONDITIONS:
                continue
            key_role, value_role = _roles_of_pair(node, key.text, role)
            new_key = self._key(key, key_role)
            new_value = None if new_key is None or not self.is_kept(value) else self.filled(value, value_role)
            if new_key is not None and new_value is not None:
                pairs.append((new_key, new_value))
        if node.pairs and not pairs:
            return None
        return YamlMapping(pairs, [], node.line, node.column, node.flow, self._at(node))

    def _key(self, key: YamlScalar, role: str) -> YamlScalar | None:
        only = self.only_placeholder(key)
        if only is None:
            return self._scalar(key, role)
        filled = self._in_place_of(only, key, role)
        if filled is None or isinstance(filled, YamlScalar):
            return filled
        self._report(
            "wrong-kind", key.mark, f"`{{{only[:40]}}}` is a key, but its value is not a text", "Give a text for it"
        )
        return None

    # --- texts --------------------------------------------------------------------------------------

    def _scalar(self, node: YamlScalar, role: str) -> YamlScalar:
        text, given = self.text(node.text, node, role)
        text = _renamed(text, role, self._rename, given)
        same = text == node.text
        return YamlScalar(text, node.line, node.column, node.plain, node.offset if same else None, None,
                          node.unreadable, self._at(node))  # fmt: skip

    def text(self, text: str, node: YamlNode, role: str = PLAIN) -> tuple[str, list[tuple[int, int]]]:
        """The text with its placeholders filled in, and the parts of the new text that the caller gave."""
        if "{" not in text:
            return text, []
        if "\n" in text:
            return self._lines(text, node), []
        made, given, end = "", [], 0
        for found in PLACEHOLDER.finditer(text):
            if found[1] is None or not self._has_parameter(found[1].strip()):
                self._unknown((found[1] or "").strip(), node.mark)
                continue
            made += text[end : found.start()]
            new = self._text_of(found[1].strip(), node.mark, role)
            self._count(1 + len(new) // CHARACTERS_OF_NODE)
            given.append((len(made), len(made) + len(new)))
            made, end = made + new, found.end()
        made += text[end:]
        self._count(1 + len(made) // CHARACTERS_OF_NODE)
        return made, given

    def _text_of(self, inside: str, mark: Mark, role: str = PLAIN) -> str:
        if inside in self._capitals:
            return _capital(self._text_of(self._capitals[inside], mark))
        found = self._given.get(inside)
        if found is None:
            asked = next((self._given[name] for name in _name.findall(inside) if self._is_asked(name)), None)
            return self._calculated(inside, mark) if asked is None else f"a figure calculated from {asked.in_words}"
        if found.node is None:
            return ""
        if found.is_asked:
            return found.in_words
        if isinstance(found.node, YamlScalar):
            return self._with_names_of_its_block(found.node, role).strip("\n")
        items = found.node.items if isinstance(found.node, YamlSequence) else [found.node]
        if all(isinstance(item, YamlScalar) for item in items):
            return ", ".join(item.text for item in items if isinstance(item, YamlScalar))
        if found.varies:
            self._report_varying(found, inside, mark)
            return ""
        message = f"`{{{inside[:40]}}}` is in a text, but its value is not a text"
        self._report("wrong-kind", mark, message, "In the block, write the placeholder alone as the whole value")
        return ""

    def _is_asked(self, name: str) -> bool:
        return name in self._given and self._given[name].is_asked

    def _calculated(self, inside: str, mark: Mark) -> str:
        named = [self._given[name] for name in _name.findall(inside) if name in self._given]
        if any(each.is_asked or each.unreadable for each in named):
            return ASK
        if any(each.node is None for each in named):
            return ""
        try:
            return calculated_text(inside, self._quantities)
        except CannotCalculate as error:
            varying = next((each for each in named if each.varies), None)
            if varying is not None:
                self._report_varying(varying, inside, mark)
            else:
                message = f"`{{{inside[:40]}}}` cannot be calculated: {error}"
                self._report("bad-formula", mark, message, "Correct the placeholder in the block, or the given value")
            return "0"

    def _report_varying(self, each: Argument, inside: str, mark: Mark) -> None:
        """Report a value with `by` in a text or a calculation of the block."""
        name = each.parameter.name
        message = (
            f"`{name}` is given with `by`, but the block uses it in {'a text' if name == inside else 'a calculation'}, "
            f"which needs one value: `{{{inside[:40]}}}`"
        )
        hint = (
            "Give one value. For a value that depends on an option, use the block once for each choice, with `as` and "
            "`add: {OPERATION: {when: ...}}`"
        )
        self._report("wrong-kind", mark, message, hint)

    def _lines(self, text: str, node: YamlNode) -> str:
        """A text of several lines, filled in. A line that is only a placeholder is replaced by any number of lines."""
        lines: list[str] = []
        changed = False
        for line in text.split("\n"):
            found_start = _start_of_line.match(line)
            start = "" if found_start is None else found_start[0]
            found = PLACEHOLDER.fullmatch(line[len(start) :].strip())
            passed = None if found is None or found[1] is None else self._given.get(found[1].strip())
            if passed is None or isinstance(passed.node, YamlMapping):
                lines.append(self.text(line, node)[0])
                continue
            changed = True
            if isinstance(passed.node, YamlSequence):
                lines += [start + item.text for item in passed.node.items if isinstance(item, YamlScalar)]
            elif isinstance(passed.node, YamlScalar):
                inner = passed.node.text.strip("\n").split("\n")
                lines += [start + each if start.strip() and not _number.match(each) else each for each in inner]
        return "\n".join(_numbered(lines) if changed else lines)

    # --- conditions ---------------------------------------------------------------------------------

    def is_kept(self, node: YamlNode) -> bool:
        """False if the conditions `given` or `unless` of a mapping are not met."""
        if not isinstance(node, YamlMapping):
            return True
        wanted = {key.text: value for key, value in node.pairs if key.text in CONDITIONS}
        return all(self._is_met(value) == (word == "given") for word, value in wanted.items())

    def _is_met(self, condition: YamlNode) -> bool:
        """True if all parameters of a condition are given, or have the value that it names."""
        if isinstance(condition, YamlMapping):
            return all(self._has_value(key, value) for key, value in condition.pairs)
        names = condition.items if isinstance(condition, YamlSequence) else [condition]
        return all(self._argument(name).node is not None for name in names if self._is_known(name))

    def _has_value(self, key: YamlScalar, value: YamlNode) -> bool:
        if not self._is_known(key):
            return True
        node = self._argument(key).node
        values = value.items if isinstance(value, YamlSequence) else [value]
        texts = [each.text.strip() for each in values if isinstance(each, YamlScalar)]
        return isinstance(node, YamlScalar) and node.text.strip() in texts

    def _argument(self, name: YamlNode) -> Argument:
        return self._given[getattr(name, "text", "").strip()]

    def _is_known(self, name: YamlNode) -> bool:
        text = getattr(name, "text", "").strip()
        if text in self._given:
            return True
        hint = hint_for(text, self._given, "The block has no parameter")
        self._report("unknown-name", name.mark, f"There is no parameter `{text[:40]}`", hint)
        return False


def _renamed(text: str, role: str, rename: Callable[[str], str], given: list[tuple[int, int]]) -> str:
    """The text with new names, as far as its role has names. The parts in ``given`` are not changed."""
    if role in (OWN, REF):
        is_given = any(low == 0 and text[high : high + 1] in ("", "[", ".") for low, high in given)
        return text if is_given else renamed_reference(text, rename)
    if role == LIMIT:
        return text if given else renamed_in_limit(text, rename)
    return renamed_in_formula(text, rename, given) if role == FORMULA else text


def _numbered(lines: list[str]) -> list[str]:
    """The lines with their numbers ("1. ") counted through."""
    count, made = 0, []
    for line in lines:
        found = _number.match(line)
        if found is not None:
            count += 1
            line = re.sub(r"\d+", str(count), found[0], count=1) + line[found.end() :]
        made.append(line)
    return made


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _is_blank(node: YamlNode) -> bool:
    return isinstance(node, YamlScalar) and node.plain and not node.text


def _of_scalar(role: KeyRoles) -> str:
    return role.entry if isinstance(role.entry, str) else PLAIN


def _roles_of_pair(node: YamlMapping, key: str, role: Role) -> tuple[str, Role]:
    """The roles of a key and of its value. Each branch of `{by: ...}` has the role of the whole mapping."""
    varies = any(each.text == "by" for each, _ in node.pairs)
    if isinstance(role, str):
        return PLAIN, PLAIN if key == "by" else role
    if varies and "by" not in role.fixed:
        return PLAIN, PLAIN if key == "by" else role
    if key in role.fixed:
        return PLAIN, role.fixed[key]
    return role.names, role.entry
