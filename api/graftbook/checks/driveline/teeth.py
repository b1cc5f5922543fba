"""Recorded ratios against the teeth that make them: a slip in either is found before it is ordered by."""

from graftbook.checks.findings import undetermined
from graftbook.checks.fitted import Fitted, Reading, on_both
from graftbook.checks.verdict import CAUTIONS, Finding, Limit, Provenance, Verdict, figure

TEETH = Limit("within 0.5 % of the ratio of the teeth", "teeth driven over teeth driving", Provenance.derived)
ALLOWED = 0.005
"""What a ratio may differ by rounding to two decimals, as a part of it."""


def crown_wheel_teeth(before: Fitted, after: Fitted) -> list[Finding]:
    """Axle ratio against crown wheel over pinion, of each axle where all three are recorded."""
    kinds = ("crown_wheel_teeth", "pinion_teeth", "axle_ratio")
    found = (_teeth(before, after, "driveline", f"gears.{axle}", *kinds) for axle in ("rear", "front"))
    return [finding for finding in found if finding is not None]


def speedometer_teeth(before: Fitted, after: Fitted) -> list[Finding]:
    """Cable turns for one turn of the gearbox output against the teeth of the drive, where recorded."""
    kinds = ("driving_teeth", "driven_teeth", "speedo_drive_ratio")
    finding = _teeth(before, after, "speedometer", "speedo.drive", *kinds)
    return [] if finding is None else [finding]


def _teeth(
    before: Fitted, after: Fitted, subject: str, position: str, over: str, under: str, ratio: str
) -> Finding | None:
    component = after.component(position)
    if component is None or not {over, under, ratio} <= component.characteristics.keys():
        return None
    both = on_both(
        before,
        after,
        lambda r: (r.value(position, over) / r.value(position, under), r.value(position, ratio)),
    )
    if both.after is None:
        return undetermined(f"{subject}.teeth.{position}", "the ratio of the teeth", both, TEETH)
    (counted, recorded), was = both.after, both.before or (None, None)
    off = counted / recorded - 1
    wrong = abs(off) > ALLOWED * (1 + 1e-9)
    title, number = after.title(position), component.number
    reading = Reading(after)
    made = f"{reading.value(position, over):.0f} and {reading.value(position, under):.0f} teeth"
    so = f"{made} make {counted:.3f}, and {recorded:.3f} is recorded"
    return Finding(
        check=f"{subject}.teeth.{position}",
        subject=subject,
        verdict=Verdict.caution if wrong else Verdict.holds,
        sentence=f"Teeth of {number} ({title}): {so}; {TEETH.text} ({TEETH.cited}).",
        figures=(
            figure("ratio of the teeth", was[0], counted, ""),
            figure("recorded ratio", was[1], recorded, ""),
        ),
        limit=TEETH,
        components=both.used,
        mend="Count the teeth, then correct the record: one of the figures is wrong." if wrong else "",
        beyond=round(100 * (abs(off) - ALLOWED), 2),
        caution=CAUTIONS.get(subject, ""),
    )
