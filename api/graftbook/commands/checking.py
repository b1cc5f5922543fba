"""`graftbook check` and `graftbook fits`: a list that somebody has in mind, and one number on one chassis."""

from collections.abc import Iterator
from contextlib import closing
from typing import TYPE_CHECKING, Annotated, Any

import typer

from graftbook.commands import completion, distant
from graftbook.commands import console as c

if TYPE_CHECKING:
    from graftbook.questions.compatibility.schemas import CompatibilityAnswerOut, CompatibilityListOut
    from graftbook.settings import Settings

NOT_FITTING = ("does not fit", "not known")

Numbers = Annotated[
    list[str],
    typer.Argument(metavar="NUMBER…", help="Part numbers.", autocompletion=completion.components),
]
Proposed = Annotated[
    list[str],
    typer.Argument(
        metavar="NUMBER…",
        help="The set: part numbers, or position=number where a number goes in several places.",
        autocompletion=completion.components,
    ),
]


def check(
    proposed: Proposed,
    database: c.Database = None, chassis: c.Chassis = None, variant: c.Variant = None, build: c.Build = None,
    option: c.Option = None, fitted: c.Fitted = None, on_the_bench: c.Bench = None, fit: c.Fit = None,
    remedy: c.Remedy = None, remedy_all: c.RemedyAll = None, keep: c.Keep = None, rules: c.Rules = None,
    full: c.Full = False, as_json: c.AsJson = False, summary: c.Summary = False,
    service: distant.Service = None,
) -> None:  # fmt: skip
    """Is this list complete, and does it work together? `graftbook check --chassis 24PL-018412 QB-3310`"""
    from graftbook.questions.checks.plain_text import check_lines
    from graftbook.questions.closures.plain_brief import REST
    from graftbook.questions.closures.summary import check_summary

    asked = c.query_from({name: value for name, value in locals().items() if name != "proposed"})
    with c.readable_errors():
        body = asked.body().model_dump(mode="json", exclude_unset=True, exclude={"alternatives"})
        body |= proposed_set(proposed)
        document = distant.asked(
            service, database, lambda shop: shop.check(**body), lambda settings: checked(settings, body)
        )
        if summary:
            document = check_summary(document)
    if as_json or summary:
        c.print_json(document)
    else:
        c.print_lines([*check_lines(document, full=full), *([] if full else ["", REST])])
    if not document["complete"]:
        raise typer.Exit(c.NO)


def proposed_set(words: list[str]) -> dict[str, Any]:
    """What was typed as the two members of a body: numbers, and what stands at a named position."""
    placed = [word.partition("=") for word in words if "=" in word]
    return {
        "components": [word for word in words if "=" not in word],
        "positions": {position: number or None for position, _, number in placed},
    }


def checked(settings: "Settings", body: dict[str, Any]) -> Any:
    """What `POST /v1/checks` answers."""
    import orjson

    from graftbook.http.errors import validated
    from graftbook.questions.checks.service import check as ask
    from graftbook.questions.schemas import CheckIn

    with closing(c.service_for(settings)) as service:
        _, make = ask(service, validated(CheckIn, body))
        return orjson.loads(make()[0])


def fits(
    chassis: Annotated[
        str,
        typer.Argument(
            help="Chassis number, such as 24PL-018412.", autocompletion=completion.chassis_numbers
        ),
    ],
    numbers: Numbers,
    position: Annotated[
        str, typer.Option(help="At this position only.", autocompletion=completion.positions)
    ] = "",
    option: c.Option = None,
    proof: Annotated[bool, typer.Option("--proof", help="Prove the best place of each.")] = False,
    database: c.Database = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="As JSON, what POST /v1/compatibility answers.")
    ] = False,
    service: distant.Service = None,
) -> None:
    """Does this number fit that chassis? `graftbook fits 24PL-018412 QB-3310`"""
    about = {"chassis": chassis, "position": position or None, "options": option or []}
    from graftbook.http.plain_text import caution_lines

    questions = [{**about, "component": number} for number in numbers]
    with c.readable_errors():
        document = distant.asked(
            service, database,
            lambda shop: shop.compatibility(questions, proof=proof),
            lambda settings: compatible(settings, {"questions": questions, "proof": proof}),
        )  # fmt: skip
    if as_json:
        c.print_json(document)
    else:
        for number, answer in zip(numbers, document["answers"], strict=True):
            c.print_lines(_lines(number, answer))
        if document["cautions"]:
            c.print_lines(["", *caution_lines(document["cautions"])])
    if any("problem" in answer for answer in document["answers"]):
        raise typer.Exit(c.WRONG_USE)
    if any(answer["verdict"] in NOT_FITTING for answer in document["answers"]):
        raise typer.Exit(c.NO)


def compatible(settings: "Settings", body: dict[str, Any]) -> "CompatibilityListOut":
    """What `POST /v1/compatibility` answers."""
    from graftbook.http.errors import validated
    from graftbook.questions.compatibility.service import answer_batch
    from graftbook.questions.schemas import CompatibilityIn

    with closing(c.service_for(settings)) as service:
        return answer_batch(service, validated(CompatibilityIn, body))


def _lines(number: str, answer: "CompatibilityAnswerOut") -> Iterator[str]:
    from graftbook.http.plain_text import wrap

    sentence = f"{answer.get('number') or number}  {answer['verdict']}. {answer.get('sentence', '')}"
    return wrap(sentence, hang=2)
