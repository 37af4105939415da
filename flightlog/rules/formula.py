"""Score formulas: arithmetic over named numbers, and nothing else.

A formula is checked part by part against a list of what is allowed; nothing of it is ever given
to Python to execute. `flightlog.rules.working` computes it by the same walk.

Allowed: numbers, names, ``+ - * / // % **`` (exponents from -8 to 8), comparisons, which count
1 or 0, ``A if CONDITION else B``, ``min max clip floor ceil abs sqrt``, and
``piecewise(x, [[x1, y1], [x2, y2]])``: straight lines between points, constant outside them.
"""

from __future__ import annotations

import ast
import keyword
import math
import re
import warnings
from collections.abc import Iterable
from dataclasses import dataclass, field
from difflib import get_close_matches
from itertools import pairwise

from flightlog.errors import FormulaError

ALLOWED = (
    "Allowed are numbers, names, + - * / // % **, comparisons, A if CONDITION else B, "
    "min, max, clip, floor, ceil, abs, sqrt and piecewise(x, [[x1, y1], [x2, y2]])."
)
"""The language, for messages."""

LONGEST = 2000
"""Characters in one formula."""

MOST_PARTS = 600
"""Numbers, names and operations in one formula."""

DEEPEST = 60
"""Operations within operations."""

LARGEST_EXPONENT = 8

_SPLIT = "Name its parts under [score.terms]."
_TABLE = "Write piecewise(x, [[x1, y1], [x2, y2]]) with numbers, x rising."
_STRANGE = re.compile(r"[^A-Za-z0-9_ .,()\[\]+\-*/%<>=!]")
_SHOWN = 60

_ARGUMENTS: dict[str, tuple[int, int]] = {
    "min": (2, 20),
    "max": (2, 20),
    "clip": (3, 3),
    "floor": (1, 1),
    "ceil": (1, 1),
    "abs": (1, 1),
    "sqrt": (1, 1),
    "piecewise": (2, 2),
}
"""Function -> fewest and most arguments."""

_HINTS: dict[str, str] = {
    "^": "Write ** for a power.",
    '"': "A formula holds no text.",
    "'": "A formula holds no text.",
    ";": "Write a full stop for decimals, and a comma between arguments.",
}

_BINARY = ast.Add | ast.Sub | ast.Mult | ast.Div | ast.FloorDiv | ast.Mod | ast.Pow
_COMPARE = ast.Lt | ast.LtE | ast.Gt | ast.GtE | ast.Eq | ast.NotEq


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula that passed the check.

    Attributes
    ----------
    text : str
        As written, in one line.
    tree : ast.expr
        Its parts, all of them allowed.
    names : frozenset of str
        Names that it uses.
    where : str
        File and key, for messages.
    """

    text: str
    # Not shown by ``repr``: in each process they look otherwise, and both follow from the text.
    tree: ast.expr = field(repr=False)
    names: frozenset[str] = field(repr=False)
    where: str = ""


def is_reserved(name: str) -> bool:
    """Whether a name means something else in formulas."""
    return name in _ARGUMENTS or name == "total" or keyword.iskeyword(name)


def shortened(text: str) -> str:
    """Cut a part of a formula to a length for messages."""
    return text if len(text) <= _SHOWN else text[: _SHOWN - 1] + "…"


def compile_formula(text: str, names: Iterable[str], where: str) -> Formula:
    """Check a formula.

    Parameters
    ----------
    text : str
        As the rule book has it.
    names : iterable of str
        Names that it may use.
    where : str
        File and key, for messages.

    Raises
    ------
    FormulaError
        Naming the part that is at fault and what is allowed.
    """
    if len(text) > LONGEST:
        raise FormulaError(f"the formula has {len(text)} characters", where=where, fix=_SPLIT)
    line = " ".join(text.split())
    check = _Check(line, frozenset(names), where)
    check.characters()
    tree = check.parsed()
    check.part(tree, 0)
    return Formula(line, tree, frozenset(check.used), where)


class _Check:
    """One walk over the parts of a formula, that refuses all that is not named here."""

    def __init__(self, text: str, known: frozenset[str], where: str) -> None:
        self.text = text
        self.known = known
        self.where = where
        self.parts = 0
        self.used: set[str] = set()

    def refused(self, found: str, fix: str = ALLOWED) -> FormulaError:
        return FormulaError(found, where=self.where, fix=fix)

    def shown(self, node: ast.expr) -> str:
        return shortened(self.text[node.col_offset : node.end_col_offset])

    def characters(self) -> None:
        if not self.text:
            raise self.refused("the formula is empty")
        # the tree tells places in bytes, and a name can be written in more ways than one: ASCII
        strange = _STRANGE.search(self.text)
        if strange:
            sign = strange[0] if strange[0] in _HINTS else ascii(strange[0])
            raise self.refused(f"{sign} is not part of a formula", _HINTS.get(strange[0], ALLOWED))

    def parsed(self) -> ast.expr:
        try:
            with warnings.catch_warnings():
                # "1if x else 2" and the like: the walk below decides, not a warning
                warnings.simplefilter("ignore")
                return ast.parse(self.text, mode="eval").body
        except SyntaxError as error:
            at = max(0, (error.offset or 1) - 1)
            near = self.text[max(0, at - 10) : at + 10].strip()
            raise self.refused(f"the formula can't be understood near {near!r}") from None
        except (ValueError, RecursionError, MemoryError):
            raise self.refused("the formula is nested too deeply", _SPLIT) from None

    def part(self, node: ast.expr, depth: int) -> None:
        self.parts += 1
        if self.parts > MOST_PARTS:
            raise self.refused(f"the formula has more than {MOST_PARTS} parts", _SPLIT)
        if depth > DEEPEST:
            raise self.refused(f"the formula is nested more than {DEEPEST} deep", _SPLIT)
        for inner in self.inner(node):
            self.part(inner, depth + 1)

    def inner(self, node: ast.expr) -> tuple[ast.expr, ...]:
        """Check one part by itself, and give the parts within it."""
        match node:
            case ast.Constant():
                self.number(node)
                return ()
            case ast.Name(id=name):
                self.name(name)
                return ()
            case ast.UnaryOp(op=ast.UAdd() | ast.USub(), operand=operand):
                return (operand,)
            case ast.BinOp(left=left, op=op, right=right) if isinstance(op, _BINARY):
                if isinstance(op, ast.Pow):
                    self.exponent(right)
                return (left, right)
            case ast.Compare(left=left, ops=ops, comparators=others):
                if all(isinstance(op, _COMPARE) for op in ops):
                    return (left, *others)
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return (test, body, orelse)
            case ast.Call():
                return self.arguments(node)
        raise self.refused(f"`{self.shown(node)}` is not allowed", _hint(node))

    def number(self, node: ast.Constant) -> None:
        value = constant_of(node)
        if value is None:
            raise self.refused(f"`{self.shown(node)}` is not a number")
        if not math.isfinite(value):
            raise self.refused(f"the number {self.shown(node)} is too large", "Use a smaller one.")

    def name(self, name: str) -> None:
        if name in _ARGUMENTS:
            raise self.refused(f"{name} is a function and needs brackets: {name}(...)")
        if name not in self.known:
            near = get_close_matches(name, self.known, n=1)
            names = ", ".join(sorted(self.known)) or "none"
            raise self.refused(
                f"nothing is called {shortened(name)!r}",
                f"Did you mean {near[0]!r}?" if near else f"Known names are: {names}.",
            )
        self.used.add(name)

    def exponent(self, node: ast.expr) -> None:
        value = constant_of(node)
        if value is None or not abs(value) <= LARGEST_EXPONENT:
            raise self.refused(
                f"the exponent `{self.shown(node)}` is not a number from "
                f"{-LARGEST_EXPONENT} to {LARGEST_EXPONENT}",
                "Write such a number; a product can be written out.",
            )

    def arguments(self, node: ast.Call) -> tuple[ast.expr, ...]:
        if not isinstance(node.func, ast.Name) or node.func.id not in _ARGUMENTS:
            raise self.refused(f"`{self.shown(node.func)}(...)` is not a function of formulas")
        name = node.func.id
        if node.keywords or any(isinstance(a, ast.Starred) for a in node.args):
            raise self.refused(f"{name}() takes its arguments by place only")
        fewest, most = _ARGUMENTS[name]
        if not fewest <= len(node.args) <= most:
            count = f"{fewest}" if fewest == most else f"{fewest} to {most}"
            found = f"{name}() takes {count} arguments, got {len(node.args)}"
            raise self.refused(found, _TABLE if name == "piecewise" else ALLOWED)
        if name != "piecewise":
            return tuple(node.args)
        self.table(node.args[1])
        return (node.args[0],)

    def table(self, node: ast.expr) -> None:
        points = points_of(node)
        if points is None or len(points) < 2:
            raise self.refused(f"`{self.shown(node)}` is not a table of two or more points", _TABLE)
        self.parts += 2 * len(points)
        for (before, _), (after, _) in pairwise(points):
            if not before < after:
                raise self.refused(f"in a table, x = {after:g} comes after {before:g}", _TABLE)


def _hint(node: ast.expr) -> str:
    match node:
        case ast.BoolOp(op=ast.And()):
            return f"Multiply conditions that must all hold: (a > 1) * (b > 2). {ALLOWED}"
        case ast.BoolOp():
            return f"Take max(a > 1, b > 2) where one of several must hold. {ALLOWED}"
        case ast.UnaryOp(op=ast.Not()):
            return f"Turn the comparison round. {ALLOWED}"
    return ALLOWED


def constant_of(node: ast.expr) -> float | None:
    """Give a number with or without one sign, infinite if too large; None for anything else."""
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.UAdd):
        if not isinstance(node.operand, ast.Constant):
            return None
        value = constant_of(node.operand)
        return -value if value is not None and isinstance(node.op, ast.USub) else value
    # bool is an int, and no number here
    if not isinstance(node, ast.Constant) or isinstance(node.value, bool):
        return None
    if not isinstance(node.value, int | float):
        return None
    try:
        return float(node.value)
    except OverflowError:
        return math.inf


def points_of(node: ast.expr) -> list[tuple[float, float]] | None:
    """Give the points of a table, or None where it is no list of pairs of finite numbers."""
    if not isinstance(node, ast.List):
        return None
    points: list[tuple[float, float]] = []
    for row in node.elts:
        if not isinstance(row, ast.List) or len(row.elts) != 2:
            return None
        x, y = constant_of(row.elts[0]), constant_of(row.elts[1])
        if x is None or y is None or not (math.isfinite(x) and math.isfinite(y)):
            return None
        points.append((x, y))
    return points
