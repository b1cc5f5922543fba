"""The findings as text: three groups in their order, the rest counted, what cannot be named."""

from graftbook.questions.checks.documents import findings_document, told_in_full
from graftbook.questions.closures.plain_set import finding_lines
from tests.checks.made import Made


def _text(change):
    return " ".join(" ".join(finding_lines(findings_document(list(Made(change).check().values())))).split())


def test_a_set_that_makes_nothing_worse_says_so_and_counts_the_rest():
    text = _text({})
    assert "This set makes no check fail or worse." in text
    assert "FAIL OR WORSE" not in text
    assert "checks hold as today." in text


def test_what_the_set_makes_worse_carries_todays_verdict_its_mend_and_its_caution():
    text = _text({"brake.master": {"circuits": "1"}})
    assert "This set makes 1 check fail or worse. THIS SET MAKES IT FAIL OR WORSE caution Laden" in text
    assert "Today it holds. To mend it: A dual-circuit" in text
    assert "Brakes hold lives" in text
    assert text.index("Brakes hold lives") < text.index("WHAT HOLDS")


def test_a_figure_that_cannot_be_is_named_in_the_text_though_it_was_so_today():
    text = _text({"gearbox": {"gear_1": "-3.6"}})
    assert "is recorded as -3.6, which cannot be" in text
    assert "checks cannot be worked out any more" in text


def test_the_groups_come_in_their_order_and_the_worst_first_in_each():
    found = Made(
        {"brake.master": {"fluid_displaced": "5 ml"}, "charging.machine": {"current_supplied": "23 A"}}
    ).check()
    (group,) = told_in_full(findings_document(list(found.values())))
    assert group["title"] == "This set makes it fail or worse"
    verdicts = [finding["verdict"] for finding in group["findings"]]
    assert verdicts == sorted(verdicts, key=("fails", "caution", "not determined").index)
    assert {"fails", "caution"} <= set(verdicts)
