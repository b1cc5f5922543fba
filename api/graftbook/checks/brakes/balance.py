"""Brake balance: which axle locks first, what each uses of the road, what a balance valve must do."""

import math
from collections.abc import Callable

from graftbook.checks.brakes.grip import Use, greatest_grip, order_broken_from, uses
from graftbook.checks.brakes.rules import DIRECTIVE, BrakeRule
from graftbook.checks.brakes.system import loading, require_category, system
from graftbook.checks.findings import against, at_least, at_most
from graftbook.checks.fitted import BothSides, Fitted, Reading, on_both
from graftbook.checks.law import Rules
from graftbook.checks.verdict import Finding, Limit, Provenance, figure
from graftbook.rulebook.units import STANDARD_GRAVITY

CURVE = Limit(
    "type approval asks that an axle uses a grip of at most (rate + 0.07) / 0.85",
    DIRECTIVE,
    Provenance.seen,
    "Annex II, Appendix, 3.1.1, grip from 0.2 to 0.8; the formula as a published copy has it",
)

NEVER = 1.0
"""The rate, in g, that stands for a lock order that is never broken."""


def lock_order(before: Fitted, after: Fitted, rule: BrakeRule, rules: Rules, laden: bool) -> Finding:
    """The rate from which the rear axle uses more of the road than its class allows beside the front."""
    state, last = "laden" if laden else "unladen", rule.order.last

    def rear_first(reading: Reading) -> float:
        require_category(reading)
        return min(order_broken_from(system(reading).axles, loading(reading, laden), rule.order), NEVER)

    def share(reading: Reading) -> float:
        axles, weight = system(reading).axles, STANDARD_GRAVITY * loading(reading, laden).mass_kg
        return axles.front_share(axles.pressure_pa(last * weight))

    sides, shares = on_both(before, after, rear_first), on_both(before, after, share)
    ideal = on_both(before, after, lambda r: loading(r, laden).ideal_front_share(last))
    return against(
        f"brakes.lock_order.{state}",
        f"rate (g) from which the rear locks too soon, {state}; 1 is nowhere",
        sides,
        rule.locks,
        "",
        at_least(NEVER),
        digits=2,
        otherwise=rules.of_approval,
        say=lambda was, now: f"{state.capitalize()}, the rear locks too soon: {_was_and_now(was, now)}",
        mend=_balance_mend(after, shares, ideal, last),
        more=(
            figure(f"front share of braking at {last:.1f} g", shares.before, shares.after, ""),
            figure(f"ideal front share at {last:.1f} g", ideal.before, ideal.after, ""),
        ),
    )


def _was_and_now(before: float | None, after: float) -> str:
    was, now = (
        "not recorded" if rate is None else f"from {rate:.2f} g" if rate < NEVER else "nowhere"
        for rate in (before, after)
    )
    return now if was == now else f"{was} -> {now}"


def _balance_mend(fitted: Fitted, shares: BothSides[float], ideal: BothSides[float], last: float) -> str:
    if shares.after is None or ideal.after is None or shares.after >= ideal.after:
        lower = "lower" if fitted.has("brake.balance_valve") else "low"
        return f"A rear balance valve that begins at a {lower} pressure would do it."
    # Rear force must fall from (1 - share)/share to (1 - ideal)/ideal of the front.
    part = (1 - ideal.after) / ideal.after * shares.after / (1 - shares.after)
    return f"A balance valve that leaves at most {part:.2f} of the rear force at {last:.1f} g would do it."


def adhesion_used(before: Fitted, after: Fitted, rules: Rules, laden: bool) -> Finding:
    """Grip that the worse axle uses over the range of braking, against the directive's curve."""
    state = "laden" if laden else "unladen"

    def found(reading: Reading) -> list[Use]:
        return uses(system(reading).axles, loading(reading, laden))

    def most(reading: Reading) -> float:
        return max((use.beyond for use in found(reading)), default=math.nan)

    return against(
        f"brakes.adhesion.{state}",
        f"grip used beyond what the curve allows, {state}",
        on_both(before, after, most),
        CURVE,
        "",
        at_most(0.0),
        digits=3,
        otherwise=rules.of_approval,
        say=_use_said(state, after, found),
        mend="Share the braking better: a balance valve where the rear uses too much; stronger rear or "
        "weaker front brakes where the front does.",
    )


def _use_said(
    state: str, after: Fitted, found: Callable[[Reading], list[Use]]
) -> Callable[[float | None, float], str]:
    def say(_: float | None, __: float) -> str:
        used = found(Reading(after))
        worst = max(used, key=lambda use: use.beyond)
        first = next((use for use in used if use.beyond > 0), None)
        allowed = f"{worst.grip:.3f} where {greatest_grip(worst.rate):.3f} is allowed"
        if first is None:
            nearest = f"the {worst.axle} comes nearest at {worst.rate:.2f} g, {allowed}"
            return f"{state.capitalize()}, no axle uses too much grip; {nearest}"
        most = f"at {worst.rate:.2f} g the {worst.axle} uses {allowed}"
        from_rate = f"the {first.axle} axle uses too much grip from {first.rate:.2f} g"
        return f"{state.capitalize()}, {from_rate}; {most}"

    return say
