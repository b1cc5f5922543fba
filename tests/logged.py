"""What a service's log calls a fault: looked for wherever a test counts on there being none."""

import json

FAULT_LEVELS = ("error", "critical")


def faults(log: str) -> list[str]:
    """The lines of a log that tell of a fault: of level error or above, a fault, a 500, or a trace."""
    return [line for line in log.splitlines() if _tells_of_a_fault(line)]


def _tells_of_a_fault(line: str) -> bool:
    if "Traceback" in line:
        return True
    try:
        facts = json.loads(line)
    except ValueError:
        return " fault=" in line or any(word.lower() in FAULT_LEVELS for word in line.split()[:2])
    if not isinstance(facts, dict):
        return False
    return "fault" in facts or facts.get("level") in FAULT_LEVELS or facts.get("status") == 500
