"""Brake balance: which axle locks first, and what a balance valve must do."""

from api.checks.bounds import at_least
from api.checks.brake_system import loading, system
from api.checks.braking import rear_locks_first_from
from api.checks.findings import against
from api.checks.fitted import BothSides, Fitted, Reading, on_both
from api.checks.verdict import Finding, Limit, Provenance, figure
from api.rulebook.units import STANDARD_GRAVITY

ORDER = Limit(
    "the front locks before the rear up to 0.8 g", "UN R13-H", Provenance.memory, "Annex 5, 3.1 (A)"
)


NEVER = 1.0
"""The rate, in g, that stands for a rear axle that does not lock first up to 0.8 g."""


def lock_order(before: Fitted, after: Fitted, laden: bool) -> Finding:
    """The rate from which the rear axle uses more adhesion than the front."""
    state = "laden" if laden else "unladen"

    def rear_first(reading: Reading) -> float:
        return min(rear_locks_first_from(system(reading).axles, loading(reading, laden)), NEVER)

    def share(reading: Reading) -> float:
        axles, weight = system(reading).axles, STANDARD_GRAVITY * loading(reading, laden).mass_kg
        return axles.front_share(axles.pressure_pa(0.8 * weight))

    sides, shares = on_both(before, after, rear_first), on_both(before, after, share)
    ideal = on_both(before, after, lambda r: loading(r, laden).ideal_front_share(0.8))
    return against(
        f"brakes.lock_order.{state}",
        f"rate (g) from which the rear locks first, {state}; 1 is never",
        sides,
        ORDER,
        "",
        at_least(NEVER),
        digits=2,
        say=lambda was, now: f"{state.capitalize()}, the rear locks first: {_worded(was, now)}",
        mend=_balance_mend(shares, ideal),
        more=(
            figure("front share of braking at 0.8 g", shares.before, shares.after, ""),
            figure("ideal front share at 0.8 g", ideal.before, ideal.after, ""),
        ),
    )


def _worded(before: float | None, after: float) -> str:
    was, now = (
        "not recorded" if rate is None else f"from {rate:.2f} g" if rate <= 0.8 else "never"
        for rate in (before, after)
    )
    return now if was == now else f"{was} -> {now}"


def _balance_mend(shares: BothSides[float], ideal: BothSides[float]) -> str:
    if shares.after is None or ideal.after is None or shares.after >= ideal.after:
        return ""
    # Rear force must fall from (1 - share)/share to (1 - ideal)/ideal of the front.
    part = (1 - ideal.after) / ideal.after * shares.after / (1 - shares.after)
    return f"A rear balance valve that leaves at most {part:.2f} of the rear force at 0.8 g would do it."
