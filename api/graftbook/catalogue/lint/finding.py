"""What the lint finds: a contradiction or a gap, with the records that make it."""

from dataclasses import dataclass
from enum import StrEnum


class LintSeverity(StrEnum):
    """How much a finding matters, worst first."""

    serious = "serious"
    """Answers are wrong, or impossible where they need not be."""
    doubtful = "doubtful"
    """Something is missing that an answer may need."""
    untidy = "untidy"
    """Nothing depends on it."""


class Wrong(StrEnum):
    """The kinds of finding."""

    two_at_once = "two at once from new"
    nothing_from_new = "nothing from new"
    broken_from_new = "rule that the factory broke"
    no_equipment = "no equipment that obeys"
    circle = "supersession in a circle"
    no_successor = "superseded by nothing"
    dead = "can never be fitted"
    impossible_alternative = "alternative that never fits"
    own_clash = "alternative against what asks for it"
    unrecorded_joint = "joint that nobody records"
    no_figure = "figure that a check wants"
    idle_budget = "budget without a side"
    idle_rule = "rule that never binds"
    no_budget = "circuit without a budget"
    idle_option = "option that nothing asks for"
    unused_evidence = "evidence that nothing refers to"
    no_remedy = "flaw that nothing remedies"
    idle_upgrade = "upgrade that cannot be had"
    work_in_a_circle = "work that waits for itself"
    no_rate = "currency without an exchange rate"
    offer_of_nothing = "offer that nobody buys"
    nobody_offers = "offered by nobody"
    never_holds = "record that never holds"
    gap = "chassis numbers in no span"
    says_otherwise = "records that say the opposite"
    said_twice = "said twice"
    alike_numbers = "numbers alike"
    no_twin = "one hand without the other"
    likely_break = "break that failures propose"
    in_doubt = "lowered by reports"
    no_evidence = "rests on nothing"


_SERIOUS = {
    Wrong.two_at_once,
    Wrong.nothing_from_new,
    Wrong.no_equipment,
    Wrong.circle,
    Wrong.no_successor,
    Wrong.dead,
    Wrong.idle_budget,
    Wrong.no_rate,
    Wrong.idle_upgrade,
    Wrong.never_holds,
    Wrong.says_otherwise,
}
_UNTIDY = {
    Wrong.unused_evidence,
    Wrong.idle_rule,
    Wrong.idle_option,
    Wrong.offer_of_nothing,
    Wrong.said_twice,
    Wrong.no_evidence,
}

_FIX = {
    Wrong.two_at_once: "bound one of the two by chassis numbers, dates or options",
    Wrong.nothing_from_new: "say of a fitment that it is from new, or that the position may be empty",
    Wrong.broken_from_new: "mend or bound the rule, or say what was there from new",
    Wrong.no_equipment: "mend or bound the rule, or record what obeys it",
    Wrong.circle: "take out the supersession that leads back",
    Wrong.no_successor: "record its successor, or say that it is no longer supplied",
    Wrong.dead: "mend the rule, or record an alternative that fits and can be had",
    Wrong.impossible_alternative: "record where it fits, a successor that can be had, or take the row out",
    Wrong.own_clash: "mend one of the two rules, or take the row out",
    Wrong.unrecorded_joint: "record the value of the components there, or take the joint out",
    Wrong.no_figure: "measure it and record it",
    Wrong.idle_budget: "record the value of the components, or hold the budget to other variants",
    Wrong.idle_rule: "take it out, or mend what it names",
    Wrong.no_budget: "record a budget for the circuit, or leave the positions' circuit empty",
    Wrong.idle_option: "name the option where it decides something, or take it from the variant",
    Wrong.unused_evidence: "name it in the records that it is for, or take it out",
    Wrong.idle_upgrade: "mend the rule, or hold the upgrade to the variants that can have it",
    Wrong.no_remedy: "record an add-on, or what else may sit there",
    Wrong.work_in_a_circle: "take out the one of them that is not needed",
    Wrong.no_rate: "record an exchange rate",
    Wrong.offer_of_nothing: "take the offer out, or move it to the number that is current",
    Wrong.never_holds: "mend its chassis numbers, days or variants, or take it out",
    Wrong.gap: "let one of the spans reach further, or record the one between",
    Wrong.says_otherwise: "find out which is so, then mend or bound the other",
    Wrong.said_twice: "take one of them out, or bound it",
    Wrong.alike_numbers: "take one of them out, or tell them apart in their names",
    Wrong.no_twin: "name its twin, or record it for the other side as well",
    Wrong.likely_break: "bound the record by that chassis number, if it is so",
    Wrong.in_doubt: "find out where it does not hold, then bound it or take it out",
    Wrong.no_evidence: "name in `evidence` where it is from",
    Wrong.nobody_offers: "record an offer, or say that it is no longer supplied",
}


@dataclass(frozen=True, slots=True)
class LintFinding:
    """One finding: its kind, the names of the records concerned, where, and a sentence.

    `variants` are those on which it was found; empty where it is the catalogue's.
    """

    wrong: Wrong
    records: tuple[str, ...]
    sentence: str
    variants: tuple[str, ...] = ()

    @property
    def severity(self) -> LintSeverity:
        """How much it matters."""
        if self.wrong in _SERIOUS:
            return LintSeverity.serious
        return LintSeverity.untidy if self.wrong in _UNTIDY else LintSeverity.doubtful

    @property
    def fix(self) -> str:
        """What mends it."""
        return _FIX[self.wrong]
