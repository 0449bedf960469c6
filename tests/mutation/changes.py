"""The changes of a mutation run: each changes one operator, constant, condition or result of a module."""

import ast
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Change:
    """One possible change of a module.

    ``statement`` is the line of the statement that contains it; ``None`` outside functions, where the change has an
    effect when the module is imported.
    """

    line: int
    statement: int | None
    text: str


COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
ARITHMETIC: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd, ast.LShift: ast.RShift, ast.RShift: ast.LShift,
}  # fmt: skip
SKIPPED_CALLS = frozenset({"assert_never", "cast", "TypeVar", "Literal"})
SKIPPED_KEYWORDS = frozenset({"frozen", "kw_only", "omit_defaults", "forbid_unknown_fields", "key"})


class Mutator(ast.NodeTransformer):
    """Lists the possible changes of a module, and makes the one with the number ``wanted``, if given."""

    def __init__(self, wanted: int | None = None) -> None:
        self.wanted = wanted
        self.found: list[Change] = []
        self._statement = 0
        self._in_function = False

    def _offer(self, node: ast.AST, change: str) -> bool:
        """Count one possible change. True if this change is to be made."""
        statement = self._statement if self._in_function else None
        self.found.append(Change(getattr(node, "lineno", 0), statement, change))
        return self.wanted == len(self.found) - 1

    def visit(self, node: ast.AST) -> Any:
        outer = self._statement
        if isinstance(node, ast.stmt):
            self._statement = node.lineno
        try:
            return super().visit(node)
        finally:
            self._statement = outer

    def visit_Compare(self, node: ast.Compare) -> ast.AST:
        self.generic_visit(node)
        for place, op in enumerate(node.ops):
            other = COMPARISONS[type(op)]
            if self._offer(node, f"{ast.unparse(node)}: {type(op).__name__} -> {other.__name__}"):
                node.ops[place] = other()
        return node

    def visit_BoolOp(self, node: ast.BoolOp) -> ast.AST:
        self.generic_visit(node)
        other = ast.Or if isinstance(node.op, ast.And) else ast.And
        if self._offer(node, f"{ast.unparse(node)}: {type(node.op).__name__} -> {other.__name__}"):
            node.op = other()
        return node

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.op, ast.Not | ast.USub) and self._offer(node, f"{ast.unparse(node)}: operator dropped"):
            return node.operand
        return node

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        other = ARITHMETIC.get(type(node.op))
        texts = any(isinstance(side, ast.JoinedStr) for side in (node.left, node.right))
        if other is not None and not texts:
            change = f"{ast.unparse(node)}: {type(node.op).__name__} -> {other.__name__}"
            if self._offer(node, change):
                node.op = other()
        return node

    def visit_Constant(self, node: ast.Constant) -> ast.AST:
        if isinstance(node.value, bool):
            if self._offer(node, f"{node.value} -> {not node.value}"):
                return ast.copy_location(ast.Constant(not node.value), node)
        elif isinstance(node.value, int | float) and self._offer(node, f"{node.value} -> {node.value + 1}"):
            return ast.copy_location(ast.Constant(node.value + 1), node)
        return node

    def visit_If(self, node: ast.If) -> ast.AST:
        if ast.unparse(node.test) == "TYPE_CHECKING":
            return node
        self.generic_visit(node)
        for value in (True, False):
            if self._offer(node, f"if {ast.unparse(node.test)} -> if {value}"):
                node.test = ast.copy_location(ast.Constant(value), node.test)
        return node

    def visit_Continue(self, node: ast.Continue) -> ast.AST:
        return ast.copy_location(ast.Break(), node) if self._offer(node, "continue -> break") else node

    def visit_Return(self, node: ast.Return) -> ast.AST:
        self.generic_visit(node)
        is_result = isinstance(node.value, ast.Call | ast.Name | ast.BoolOp | ast.Compare)
        if is_result and self._offer(node, f"return {ast.unparse(node.value)} -> return None"):  # type: ignore[arg-type]  # not None here
            node.value = None
        return node

    def visit_Call(self, node: ast.Call) -> ast.AST:
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name in SKIPPED_CALLS:
            return node
        node.args = [self.visit(each) for each in node.args]
        node.func = self.visit(node.func)
        for keyword in node.keywords:
            if keyword.arg not in SKIPPED_KEYWORDS:
                keyword.value = self.visit(keyword.value)
        return node

    def visit_ClassDef(self, node: ast.ClassDef) -> ast.AST:
        node.body = [self.visit(each) for each in node.body]  # keywords of the class are left alone
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.AST:
        outer, self._in_function = self._in_function, True
        node.body = [self.visit(each) for each in node.body]
        self._in_function = outer
        node.args.defaults = [self.visit(each) for each in node.args.defaults]
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AST:
        if node.value is not None:
            node.value = self.visit(node.value)
        return node

    def visit_JoinedStr(self, node: ast.JoinedStr) -> ast.AST:
        return node  # the wording of a message is not part of the core

    def visit_Assert(self, node: ast.Assert) -> ast.AST:
        return node


class Marker(ast.NodeTransformer):
    """Puts a call of ``name`` with the line number before each statement of each function."""

    def __init__(self, name: str) -> None:
        self.name = name
        self._in_function = False

    def _marked(self, body: list[ast.stmt]) -> list[ast.stmt]:
        marked: list[ast.stmt] = []
        for statement in body:
            if self._in_function:
                call = ast.Call(ast.Name(self.name, ast.Load()), [ast.Constant(statement.lineno)], [])
                marked.append(ast.fix_missing_locations(ast.copy_location(ast.Expr(call), statement)))
            marked.append(self.visit(statement))
        return marked

    def generic_visit(self, node: ast.AST) -> ast.AST:
        is_function = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        outer, self._in_function = self._in_function, self._in_function or is_function
        for field in ("body", "orelse", "finalbody"):
            body = getattr(node, field, None)
            if isinstance(body, list):
                setattr(node, field, self._marked(body))
        for field in ("handlers", "cases"):
            for part in getattr(node, field, []):
                self.visit(part)
        self._in_function = outer
        return node
