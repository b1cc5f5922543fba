"""Named upgrades that cannot be had where they are said to hold."""

from collections.abc import Iterator

from graftbook.catalogue.lint.closure import SECONDS_EACH, Looked, attainable_somewhere
from graftbook.catalogue.lint.finding import Wrong
from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question, RemedyFlaw, Wish
from graftbook.rulebook.model import Upgrade
from graftbook.rulebook.scope import Scope


def upgrade_findings(looked: Looked) -> Iterator[tuple[tuple[Wrong, tuple[str, ...]], str]]:
    """The upgrades whose wishes no vehicle of the variant can have together, though they hold for it."""
    held = {
        upgrade: [scope for scope in looked.scopes if scope.holds(upgrade)]
        for upgrade in looked.book.upgrades
    }
    alone = {upgrade: wishes[0] for upgrade in held if len(wishes := wishes_of(upgrade)) == 1}
    had = attainable_somewhere((wish, held[upgrade]) for upgrade, wish in alone.items())
    for upgrade, scopes in held.items():
        if upgrade in alone:
            possible = alone[upgrade] in had
        else:
            possible = any(_together(looked, scope, wishes_of(upgrade)) for scope in scopes)
        if scopes and not possible:
            told = f"the upgrade {upgrade.name} holds here, and no vehicle can be given all that it wishes"
            yield (Wrong.idle_upgrade, (upgrade.name,)), told


def wishes_of(upgrade: Upgrade) -> tuple[Wish, ...]:
    """What an upgrade wishes."""
    fits = (FitComponent(part, place) for part, place in upgrade.fits)
    return (*fits, *map(RemedyFlaw, upgrade.remedies))


def _together(looked: Looked, scope: Scope, wishes: tuple[Wish, ...]) -> bool:
    question = Question(scope.vehicle, wishes, seconds=SECONDS_EACH)
    return answer_question(looked.book, question, next_bests=False).outcome is not Outcome.impossible
