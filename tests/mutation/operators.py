"""The small wrong changes that are tried: cosmic-ray's, and two of our own for code that passes things on."""

from collections.abc import Iterator
from functools import cache
from typing import Any

import cosmic_ray.plugins
import parso
from cosmic_ray.operators.operator import Example, Operator

_COMPARISONS = (
    *("Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"),
    *("Lt_LtE", "Lt_GtE", "LtE_Lt", "LtE_Gt", "Gt_GtE", "Gt_LtE", "GtE_Gt", "GtE_Lt"),
)
_ARITHMETIC = (
    *("Add_Sub", "Sub_Add", "Mul_Div", "Div_Mul", "FloorDiv_Mul", "Mod_Mul"),
    *("BitOr_BitAnd", "BitAnd_BitOr", "Sub_BitOr"),
)
_OTHERS = (
    *("AddNot", "ReplaceAndWithOr", "ReplaceOrWithAnd", "ReplaceTrueWithFalse", "ReplaceFalseWithTrue"),
    *("ReplaceBreakWithContinue", "ReplaceContinueWithBreak", "ExceptionReplacer", "NumberReplacer"),
    *("ReplaceUnaryOperator_Delete_Not", "ReplaceUnaryOperator_Delete_USub", "ZeroIterationForLoop"),
)


class LeaveOutArgument(Operator):
    """A call without one of its named arguments."""

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        for argument in _named_arguments(node):
            yield argument.start_pos, argument.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        left_out = list(_named_arguments(node))[index]
        at = node.children.index(left_out)
        if node.type == "arglist":
            del node.children[at : at + 2]
        else:
            del node.children[at]
        return node

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        return (Example("f(1, a=2, b=3)", "f(1, b=3)"), Example("f(a=2)", "f()"))


def _named_arguments(node: Any) -> Iterator[Any]:
    """Those of an argument list, or the only one of a call."""
    if node.type not in ("arglist", "trailer"):
        return
    for child in node.children:
        if child.type == "argument" and len(child.children) == 3 and child.children[1].type == "operator":
            yield child


class LeaveOutCall(Operator):
    """A statement that is only a call is not carried out."""

    def mutation_positions(self, node: Any) -> Iterator[Any]:
        if node.type != "simple_stmt":
            return
        first = node.children[0]
        if first.type in ("atom_expr", "power") and _is_call(first):
            yield first.start_pos, first.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        first = node.children[0]
        node.children[0] = parso.parse(first.get_first_leaf().prefix + "pass")
        return node

    @classmethod
    def examples(cls) -> tuple[Example, ...]:
        return (Example("f(1)\n", "pass\n"),)


def _is_call(node: Any) -> bool:
    last = node.children[-1]
    return last.type == "trailer" and last.children[0].value == "("


@cache
def operators() -> dict[str, Operator]:
    """Every operator by its name. Replacements that no slip of the hand makes (`+` by `<<`) are left out:
    they break whatever runs them, and would only flatter the figure."""
    names = [
        *_OTHERS,
        *(f"ReplaceComparisonOperator_{pair}" for pair in _COMPARISONS),
        *(f"ReplaceBinaryOperator_{pair}" for pair in _ARITHMETIC),
    ]
    found: dict[str, Operator] = {name: cosmic_ray.plugins.get_operator(f"core/{name}")() for name in names}
    found["LeaveOutArgument"] = LeaveOutArgument()
    found["LeaveOutCall"] = LeaveOutCall()
    return found
