"""Formulas of computed readings: arithmetic over named numbers, and nothing else.

A formula has numbers with a decimal point, names of other readings, + - * /, brackets, and the functions min, max, abs
and round. It is worked out in decimals of 28 digits (Python's `decimal`), so that 0.1 + 0.2 is 0.3; `round` rounds
halves to the even neighbour.
"""

import ast
import operator
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Context, Decimal, DecimalException, localcontext
from typing import Any, Final

from simpleeval import SimpleEval

from fleet.core.errors import BadValueError

LONGEST: Final = 200
_DIGITS: Final = 28
_MOST_PLACES: Final = 6
_KEY: Final = re.compile(r"[a-z][a-z0-9_]*")
_MINUS: Final = "\u2212"
#: How a sign is printed, and how firmly it holds together what stands beside it.
_SIGNS: Final[Mapping[type[ast.AST], tuple[str, int]]] = {
    ast.Add: ("+", 1), ast.Sub: (_MINUS, 1), ast.Mult: ("\u00d7", 2), ast.Div: ("÷", 2), ast.UAdd: ("+", 3),
    ast.USub: (_MINUS, 3),
}  # fmt: skip
_AS_TYPED: Final = str.maketrans({"\u00d7": "*", "÷": "/", "·": "*", _MINUS: "-"})
_ALLOWED: Final = (
    ast.Expression, ast.BinOp, ast.UnaryOp, ast.Constant, ast.Name, ast.Load, ast.Call,
    ast.Add, ast.Sub, ast.Mult, ast.Div, ast.UAdd, ast.USub,
)  # fmt: skip
_FORM: Final = "Use numbers with a decimal point, names of steps, + - * / ( ), and min, max, abs, round"


def _round(value: Decimal, places: Decimal = Decimal(0)) -> Decimal:
    return round(value, int(places))


_FUNCTIONS: Final[Mapping[str, Callable[..., Decimal]]] = {"min": min, "max": max, "abs": abs, "round": _round}
#: How many arguments each takes; None: any number from the first on.
_ARGUMENTS: Final[Mapping[str, tuple[int, int | None]]] = {"min": (2, None), "max": (2, None), "abs": (1, 1), "round": (1, 2)}  # fmt: skip  # noqa: E501 - a table
_OPERATORS: Final = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.UAdd: operator.pos,
    ast.USub: operator.neg,
}


@dataclass(frozen=True, slots=True)
class Formula:
    """A formula that was read, and the names it asks for, each once."""

    text: str
    names: tuple[str, ...]


class _Arithmetic(SimpleEval):  # type: ignore[misc] # simpleeval ships no types
    """Evaluates nothing but arithmetic, in decimals."""

    def __init__(self, numbers: Mapping[str, Decimal]) -> None:
        """`numbers`: what stands for each name."""
        super().__init__(operators=_OPERATORS, functions=dict(_FUNCTIONS), names=dict(numbers))
        kept = (ast.Expr, ast.UnaryOp, ast.BinOp, ast.Call, ast.Name)
        known: dict[type[ast.AST], Any] = self.nodes
        self.nodes: dict[type[ast.AST], Any] = {kind: known[kind] for kind in kept} | {ast.Constant: _number}


def _number(node: ast.Constant) -> Decimal:
    return Decimal(str(node.value))


def is_key(text: str) -> bool:
    """Whether a text may name a step in formulas: small letters, digits and _, a letter first, no function's name."""
    return bool(_KEY.fullmatch(text)) and text not in _FUNCTIONS


def read_formula(text: str) -> Formula:
    """Read a formula. Raises BadValueError (field "formula") that says what may stand in one."""
    text = text.strip().translate(_AS_TYPED)
    if len(text) > LONGEST:
        raise _wrong(f"The formula has {len(text)} characters; {LONGEST} is the most.")
    tree = _tree(text)
    for node in ast.walk(tree):
        if fault := _fault(node):
            raise _wrong(f"{fault} {_FORM}.")
    names = [node.id for node in ast.walk(tree) if isinstance(node, ast.Name) and node.id not in _FUNCTIONS]
    if strange := [name for name in names if not is_key(name)]:
        raise _wrong(f"“{strange[0]}” is no name of a step: small letters, digits and _, a letter first.")
    return Formula(text, tuple(dict.fromkeys(names)))


def _tree(text: str) -> ast.Expression:
    try:
        return ast.parse(text, mode="eval")
    except (SyntaxError, ValueError) as error:
        raise _wrong(f"“{text}” is no formula. {_FORM}.") from error


def _fault(node: ast.AST) -> str:
    if isinstance(node, ast.Tuple):
        return "A comma stands where a number was expected; write the decimal mark as a point."
    if not isinstance(node, _ALLOWED):
        return "There is more than arithmetic in this formula."
    if isinstance(node, ast.Constant) and not _is_number(node.value):
        return f"{node.value!r} is not a number."
    return _fault_of_call(node) if isinstance(node, ast.Call) else ""


def _is_number(value: object) -> bool:
    return type(value) in {int, float} and Decimal(str(value)).is_finite()


def _fault_of_call(node: ast.Call) -> str:
    name = node.func.id if isinstance(node.func, ast.Name) else ""
    if name not in _FUNCTIONS:
        return f"“{name}” is no function that is known here." if name else "Something is called that is no function."
    fewest, most = _ARGUMENTS[name]
    if node.keywords or not fewest <= len(node.args) <= (most or len(node.args)):
        return f"“{name}” has too few or too many numbers in its brackets."
    if name == "round" and len(node.args) > 1 and not _is_places(node.args[1]):
        return f"The second number of round is how many decimals to keep: 0 to {_MOST_PLACES}."
    return ""


def _is_places(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and type(node.value) is int and 0 <= node.value <= _MOST_PLACES


def worked_out(formula: Formula, numbers: Mapping[str, Decimal]) -> Decimal:
    """Work a formula out. `numbers` holds one for each of its names.

    Raises BadValueError (field "formula") for a missing number, a division by zero and what is too large to compute.
    """
    if missing := [name for name in formula.names if name not in numbers]:
        raise _wrong(f"A number is missing for: {', '.join(missing)}.")
    with localcontext(Context(prec=_DIGITS)):
        try:
            result: Any = _Arithmetic(numbers).eval(formula.text)
        except (ZeroDivisionError, DecimalException) as error:
            raise _wrong(
                "It can't be worked out with these numbers: it would divide by zero or run too high."
            ) from error
        return Decimal(result)


def put_in(formula: Formula, words: Mapping[str, str]) -> str:
    """The formula as it is printed, with words or numbers in place of its names: 100, times, 4.9 in brackets."""
    return _printed(_tree(formula.text).body, words)[0]


def _printed(node: ast.expr, words: Mapping[str, str]) -> tuple[str, int]:
    """A part of a formula and how firmly it holds together: 1 sum, 2 product, 3 sign, 4 number or name."""
    match node:
        case ast.BinOp(left, sign, right):
            mark, firm = _SIGNS[type(sign)]
            return f"{_held(left, words, firm)} {mark} {_held(right, words, firm + 1)}", firm
        case ast.UnaryOp(sign, operand):
            return f"{_SIGNS[type(sign)][0]}{_held(operand, words, 3)}", 3
        case ast.Call(ast.Name(name), arguments):
            return f"{name}({', '.join(_printed(each, words)[0] for each in arguments)})", 4
        case ast.Name(name):
            text = words.get(name, name)
            return text, 3 if text.startswith(_MINUS) else 4
        case _:
            return ast.unparse(node), 4


def _held(node: ast.expr, words: Mapping[str, str], firm: int) -> str:
    text, own = _printed(node, words)
    return text if own >= firm and not text.startswith(_MINUS) else f"({text})"


def _wrong(message: str) -> BadValueError:
    return BadValueError(message, field="formula")
