"""Small faults put into a module's syntax tree, one at a time: what a test that checks something must notice.

Never in docstrings, messages, type hints, asserts (which speak to the type checker), `__all__`, or the switches of
`zip` and dataclasses. A mutant is told by its source before and after, so that a list of reviewed ones outlives edits.
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
REVERSED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt,
}  # fmt: skip
WORKED_OUT: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv, ast.Pow: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
CALLED = {
    "min": "max", "max": "min", "any": "all", "all": "any", "minimum": "maximum", "maximum": "minimum",
    "nanmin": "nanmax", "nanmax": "nanmin", "argmin": "argmax", "argmax": "argmin", "floor": "ceil", "ceil": "floor",
    "isfinite": "isinf",
}  # fmt: skip
SWITCHES = {"strict", "frozen", "slots", "kw_only", "repr", "eq", "encoding", "copy"}


@dataclass(frozen=True)
class Mutation:
    """One fault: the lines of the statement it is in, source before and after, and whether it lies in a function."""

    first_line: int
    last_line: int
    before: str
    after: str
    in_function: bool
    place: int
    """Its number in the module, by which `mutated` finds it again."""

    @property
    def what(self) -> str:
        return f"`{self.before}` -> `{self.after}`"


@dataclass
class _Site:
    """A node in its place: put(new) sets another there; lines of the statement around."""

    node: ast.AST
    put: Callable[[ast.AST], None]
    first_line: int
    last_line: int
    in_function: bool


def mutations(source: str) -> list[Mutation]:
    """Every fault there is to make in a module, in the order of its source."""
    return [
        Mutation(site.first_line, site.last_line, _text(site.node), _text(new), site.in_function, place)
        for place, (site, new) in enumerate(_faults(ast.parse(source)))
    ]


def mutated(source: str, mutation: Mutation) -> str:
    """The module's source with one fault in it."""
    tree = ast.parse(source)
    for place, (site, new) in enumerate(_faults(tree)):
        if place == mutation.place:
            site.put(new)
            return ast.unparse(ast.fix_missing_locations(tree))
    raise LookupError(mutation)


def _text(node: ast.AST) -> str:
    return ast.unparse(ast.fix_missing_locations(node)).partition("\n")[0]


def _faults(tree: ast.Module) -> Iterator[tuple[_Site, ast.AST]]:
    for site in _sites(tree, 0, 0, False):
        for new in _changed(site.node):
            yield site, new


def _sites(node: ast.AST, first: int, last: int, inside: bool) -> Iterator[_Site]:
    """All nodes below one that may be changed, each with the statement's lines."""
    inside = inside or isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "format_spec"):
            continue
        listed = isinstance(value, list)
        for at, child in enumerate(value if isinstance(value, list) else [value]):
            if not isinstance(child, ast.AST) or _is_said(child):
                continue
            begin, end = _lines(child) if isinstance(child, ast.stmt) else (first, last)

            def put(new: ast.AST, node: ast.AST = node, name: str = name, at: int = at, listed: bool = listed) -> None:
                if listed:
                    getattr(node, name)[at] = new
                else:
                    setattr(node, name, new)

            yield _Site(child, put, begin, end, inside)
            yield from _sites(child, begin, end, inside)


def _lines(statement: ast.stmt) -> tuple[int, int]:
    """First and last line of a statement, of one with a body its head."""
    body = getattr(statement, "body", None)
    end = statement.end_lineno or statement.lineno
    return statement.lineno, max(statement.lineno, body[0].lineno - 1) if body else end


def _is_said(node: ast.AST) -> bool:
    """What is words, hints and switches rather than behaviour."""
    match node:
        case ast.Assert() | ast.Import() | ast.ImportFrom():
            return True
        case ast.Expr(value=ast.Constant()):
            return True
        case ast.Assign(targets=[ast.Name(id=name)], value=value):
            return name == "__all__" or _is_hint(value)
        case ast.Call(func=ast.Name(id="dataclass")):
            return True
        case ast.keyword(arg=name):
            return name in SWITCHES
        case _:
            return False


def _is_hint(value: ast.expr) -> bool:
    """Whether an assignment's value is a name for a type: names, brackets and bars only."""
    match value:
        case ast.BinOp(left=left, op=ast.BitOr(), right=right):
            return _is_hint(left) and _is_hint(right)
        case ast.Subscript(value=ast.Name(id="Literal" | "Annotated" | "Callable" | "Mapping" | "dict" | "tuple")):
            return True
        case ast.Name() | ast.Constant(value=None):
            return True
        case _:
            return False


def _changed(node: ast.AST) -> Iterator[ast.AST]:
    """What may stand in a node's place."""
    match node:
        case ast.Compare(ops=ops):
            for at, op in enumerate(ops):
                for table in (COMPARED, REVERSED):
                    if type(op) in table:
                        new = copy.deepcopy(node)
                        new.ops[at] = table[type(op)]()
                        yield new
        case ast.BinOp(op=op) if type(op) in WORKED_OUT and not _is_text(node):
            yield ast.BinOp(node.left, WORKED_OUT[type(op)](), node.right)
        case ast.AugAssign(op=op) if type(op) in WORKED_OUT and not _is_text(node.value):
            yield ast.AugAssign(node.target, WORKED_OUT[type(op)](), node.value)
            yield ast.Pass()
        case ast.BoolOp(op=op):
            yield ast.BoolOp(ast.Or() if isinstance(op, ast.And) else ast.And(), node.values)
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            yield node.operand
        case ast.Constant(value=bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(value=int() as value):
            yield ast.Constant(value + 1)
        case ast.Constant(value=float() as value):
            yield ast.Constant(value * 1.25 if value else 1.0)
        case ast.Return(value=ast.expr() as value) if not (isinstance(value, ast.Constant) and value.value is None):
            yield ast.Return(ast.Constant(None))
        case ast.IfExp(test=test):
            yield ast.IfExp(_negated(test), node.body, node.orelse)
        case ast.If(test=test):
            yield ast.If(_negated(test), node.body, node.orelse)
        case ast.comprehension(ifs=[_, *_]):
            yield ast.comprehension(node.target, node.iter, [_negated(node.ifs[0]), *node.ifs[1:]], node.is_async)
        case ast.Call(func=ast.Name(id=name)) if name in CALLED:
            yield ast.Call(ast.Name(CALLED[name], ast.Load()), node.args, node.keywords)
        case ast.Call(func=ast.Attribute(value=owner, attr=name)) if name in CALLED:
            yield ast.Call(ast.Attribute(owner, CALLED[name], ast.Load()), node.args, node.keywords)
        case ast.Expr(value=ast.Call() | ast.Await()) | ast.Raise() | ast.Continue() | ast.Break():
            yield ast.Pass()
        case ast.Assign(targets=[ast.Subscript() | ast.Attribute()]):
            yield ast.Pass()


def _negated(test: ast.expr) -> ast.expr:
    return (
        test.operand if isinstance(test, ast.UnaryOp) and isinstance(test.op, ast.Not) else ast.UnaryOp(ast.Not(), test)
    )


def _is_text(node: ast.AST) -> bool:
    """Whether words are put together here, which no other operator can do."""
    return any(
        isinstance(part, ast.JoinedStr) or (isinstance(part, ast.Constant) and isinstance(part.value, str))
        for part in (node, getattr(node, "left", node), getattr(node, "right", node))
    )
