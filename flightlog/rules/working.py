"""Score formulas: working out over arrays what `flightlog.rules.formula` has checked."""

from __future__ import annotations

import ast
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import reduce
from itertools import pairwise
from typing import TYPE_CHECKING, Any, NoReturn

from flightlog.errors import NotEnoughDataError
from flightlog.rules.formula import (
    Formula,
    constant_of,
    points_of,
    shortened,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Array = NDArray[np.float64]
    Mask = NDArray[np.bool_]


def evaluate(formula: Formula, values: Mapping[str, Array]) -> Array:
    """Work a formula out.

    Parameters
    ----------
    formula : Formula
        From `compile_formula`.
    values : mapping of str to array, shape (n,)
        All names that it uses.

    Returns
    -------
    array, shape (n,)
        All finite.

    Raises
    ------
    NotEnoughDataError
        If it divides by zero, takes the root of a negative number, or leaves the range of
        numbers, for any of the n.
    """
    import numpy as np

    used = {name: values[name] for name in formula.names}
    size = len(next(iter(values.values()))) if values else 1
    with np.errstate(all="ignore"):  # what is not finite is found and told below
        return _Work(formula, used, size).value(formula.tree)


@dataclass(frozen=True)
class _Work:
    formula: Formula
    values: Mapping[str, Array]
    size: int

    def stop(self, part: ast.expr, why: str, wrong: Mask) -> NoReturn:
        source = shortened(ast.get_source_segment(self.formula.text, part) or self.formula.text)
        share = "" if wrong.all() else " for a part of the values that the uncertainty allows"
        raise NotEnoughDataError(f"{source!r} {why}{share}")

    def value(self, part: ast.expr) -> Array:
        import numpy as np

        match part:
            case ast.Name():
                return self.values[part.id]
            case ast.UnaryOp():
                inner = self.value(part.operand)
                return -inner if isinstance(part.op, ast.USub) else inner
            case ast.BinOp():
                return self.binary(part)
            case ast.Compare():
                return self.comparison(part)
            case ast.IfExp():
                return self.choice(part)
            case ast.Call():
                return self.call(part)
            case _:
                return np.full(self.size, constant_of(part), dtype=np.float64)

    def binary(self, part: ast.BinOp) -> Array:
        import numpy as np

        left, right = self.value(part.left), self.value(part.right)
        if isinstance(part.op, ast.Div | ast.FloorDiv | ast.Mod) and (right == 0).any():
            self.stop(part, "divides by zero", right == 0)
        operations: dict[type[ast.operator], Callable[[Any, Any], Any]] = {
            ast.Add: np.add,
            ast.Sub: np.subtract,
            ast.Mult: np.multiply,
            ast.Div: np.divide,
            ast.FloorDiv: np.floor_divide,
            ast.Mod: np.remainder,
            ast.Pow: np.power,
        }
        return self.finite(part, operations[type(part.op)](left, right))

    def finite(self, part: ast.expr, result: Array) -> Array:
        import numpy as np

        wrong = ~np.isfinite(result)
        if wrong.any():
            self.stop(part, "has no finite value", wrong)
        return result

    def comparison(self, part: ast.Compare) -> Array:
        import numpy as np

        operations: dict[type[ast.cmpop], Callable[[Any, Any], Any]] = {
            ast.Lt: np.less,
            ast.LtE: np.less_equal,
            ast.Gt: np.greater,
            ast.GtE: np.greater_equal,
            ast.Eq: np.equal,
            ast.NotEq: np.not_equal,
        }
        sides = [self.value(side) for side in (part.left, *part.comparators)]
        holds = np.ones(self.size, dtype=bool)
        for op, (left, right) in zip(part.ops, pairwise(sides), strict=True):
            holds &= operations[type(op)](left, right)
        return holds.astype(np.float64)

    def choice(self, part: ast.IfExp) -> Array:
        """Work each side out only where it is chosen, so that it can guard a division."""
        import numpy as np

        chosen = self.value(part.test) != 0
        result = np.empty(self.size, dtype=np.float64)
        for mask, side in ((chosen, part.body), (~chosen, part.orelse)):
            if mask.any():
                some = {name: array[mask] for name, array in self.values.items()}
                result[mask] = _Work(self.formula, some, int(mask.sum())).value(side)
        return result

    def call(self, part: ast.Call) -> Array:
        import numpy as np

        name = part.func.id if isinstance(part.func, ast.Name) else ""
        if name == "piecewise":
            points = points_of(part.args[1]) or []
            x = self.value(part.args[0])
            # Far points far apart in y may still overflow in between.
            return self.finite(part, np.interp(x, *np.array(points).T))
        given = [self.value(argument) for argument in part.args]
        match name:
            case "min":
                return reduce(np.minimum, given)
            case "max":
                return reduce(np.maximum, given)
            case "clip":
                wrong = given[1] > given[2]
                if wrong.any():
                    self.stop(part, "has a low end above its high end", wrong)
                return np.minimum(np.maximum(given[0], given[1]), given[2])
            case "floor":
                return np.floor(given[0])
            case "ceil":
                return np.ceil(given[0])
            case "abs":
                return np.abs(given[0])
            case _:
                if (given[0] < 0).any():
                    self.stop(part, "takes the root of a negative number", given[0] < 0)
                return np.sqrt(given[0])
