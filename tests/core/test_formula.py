"""Formulas: arithmetic and nothing else, the same as Python's own."""

# ruff: noqa: RUF001 - signs as they are printed

from decimal import Context, Decimal, localcontext

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.formula import is_key, put_in, read_formula, worked_out

NAMES = ("a", "b", "c2")


@st.composite
def formulas(draw: st.DrawFn, depth: int = 3) -> str:
    """A formula over a, b and c2 with every sign and function."""
    if depth == 0 or draw(st.booleans()):
        return draw(st.sampled_from([*NAMES, "2", "0.5", "10"]))
    one, other = draw(formulas(depth - 1)), draw(formulas(depth - 1))
    form = draw(st.sampled_from(["({} + {})", "({} - {})", "({} * {})", "({} / {})", "-({} - {})", "abs({} - {})", "min({}, {})", "max({}, {})", "{} - {}", "round({} * {}, 2)"]))  # fmt: skip  # noqa: E501 - a table
    return form.format(one, other)


NUMBERS = st.decimals(-1000, 1000, places=3)


def by_python(text: str, numbers: dict[str, Decimal]) -> Decimal | None:
    """The same formula by Python itself, each literal as a decimal; None for a division by zero."""
    marked = text.replace("0.5", "Decimal('0.5')").replace("10", "Decimal(10)")
    marked = marked.replace(", 2)", ", #)").replace("c2", "c").replace("2", "Decimal(2)").replace("#", "2")
    known = {"Decimal": Decimal, "a": numbers["a"], "b": numbers["b"], "c": numbers["c2"]}
    with localcontext(Context(prec=28)):
        try:
            return Decimal(eval(marked, known))  # noqa: S307 - our own text, the reference of this test
        except ArithmeticError:
            return None


@given(text=formulas(), a=NUMBERS, b=NUMBERS, c2=NUMBERS)
def test_a_formula_gives_what_python_gives(text: str, a: Decimal, b: Decimal, c2: Decimal) -> None:
    """Every formula equals Python's arithmetic in decimals of 28 digits; where that divides by zero, it is refused."""
    numbers = {"a": a, "b": b, "c2": c2}
    expected = by_python(text, numbers)
    formula = read_formula(text)
    if expected is None:
        with pytest.raises(BadValueError, match="divide by zero"):
            worked_out(formula, numbers)
    else:
        assert worked_out(formula, numbers) == expected


@given(text=formulas(), a=NUMBERS, b=NUMBERS, c2=NUMBERS)
def test_the_printed_formula_means_the_same(text: str, a: Decimal, b: Decimal, c2: Decimal) -> None:
    """What is printed with the numbers put in, read again, gives the same value: no bracket is lost."""
    numbers = {"a": a, "b": b, "c2": c2}
    formula = read_formula(text)
    printed = put_in(formula, {name: f"{value:f}".replace("-", "\u2212") for name, value in numbers.items()})
    expected = by_python(text, numbers)
    if expected is not None and len(printed) <= 200:
        assert worked_out(read_formula(printed), {}) == expected


@pytest.mark.parametrize(
    ("text", "printed"),
    [
        ("100*(a-b)/b", "100 × (A − B) ÷ B"),
        ("a-(b-c2)", "A − (B − C)"),
        ("a/(b*c2)", "A ÷ (B × C)"),
        ("a − b · 2", "A − B × 2"),
        ("-a + round(b, 1)", "(−A) + round(B, 1)"),
    ],
)
def test_a_formula_is_printed_as_it_would_be_written_by_hand(text: str, printed: str) -> None:
    """Brackets stand where they are needed and nowhere else."""
    assert put_in(read_formula(text), {"a": "A", "b": "B", "c2": "C"}) == printed


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "no formula"),
        ("a +", "no formula"),
        ("2,5 * a", "decimal mark as a point"),
        ("a ** 2", "more than arithmetic"),
        ("a if b else 1", "more than arithmetic"),
        ("a.real", "more than arithmetic"),
        ("[a]", "more than arithmetic"),
        ("(x := 3)", "more than arithmetic"),
        ("open('x')", "no function"),
        ("__import__('os')", "no function"),
        ("a(b)", "no function"),
        ("max(a)", "too few or too many"),
        ("round(a, b)", "how many decimals"),
        ("'a' * 3", "not a number"),
        ("True", "not a number"),
        ("1e999", "not a number"),
        ("Flow * 2", "no name of a step"),
        ("a" * 201, "200 is the most"),
    ],
)
def test_anything_but_arithmetic_is_refused(text: str, said: str) -> None:
    """The refusal names the formula's field and says what may stand in one."""
    with pytest.raises(BadValueError, match=said) as refused:
        read_formula(text)
    assert refused.value.field == "formula"


def test_no_digit_is_lost_to_binary_fractions() -> None:
    """0.1 + 0.2 is 0.3."""
    assert worked_out(read_formula("0.1 + a"), {"a": Decimal("0.2")}) == Decimal("0.3")


@pytest.mark.parametrize(("text", "fits"), [("flow", True), ("flow_2", True), ("2flow", False), ("Flow", False), ("max", False), ("", False)])  # fmt: skip  # noqa: E501 - a table
def test_a_name_is_small_letters_and_no_function(text: str, *, fits: bool) -> None:
    """What could not be told from a function or a number names no step."""
    assert is_key(text) is fits
