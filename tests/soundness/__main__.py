"""The long forms of the tests of soundness, run by hand, on both engines unless one is named:

    python -m tests.soundness schema  --examples 200    # schemathesis: tens of thousands of requests
    python -m tests.soundness model   --examples 100    # the catalogue against a plain dict
    python -m tests.soundness contest --rounds 100      # four processes, eight editors and askers
    python -m pytest --hypothesis-profile=search tests/soundness tests/orders    # other examples each time

Each prints its figures and ends with 1 when something is not as it must be.
"""

import argparse
import random
import signal
import sys
import time
from collections.abc import Callable
from contextlib import ExitStack

from tests.conftest import _Databases as Databases
from tests.soundness.contest import Contest
from tests.soundness.databases import ENGINES, databases_of, loaded_demo
from tests.soundness.schema_run import SERVICE, run_schemathesis
from tests.soundness.server import AS_IT_COMES, serve


def schema(databases: Databases, asked: argparse.Namespace) -> bool:
    """schemathesis with every phase."""
    with serve(loaded_demo(databases.new()), **SERVICE) as served:
        run = run_schemathesis(
            served, "--max-examples", str(asked.examples), "--workers", "2", "--seed", str(asked.seed)
        )
        faults = served.faults()
    print(run.printed if not run.ok else "", end="")
    print(f"{run.cases} requests to {run.operations} operations, seed {asked.seed}, "
          f"{len(faults)} faults in the log")  # fmt: skip
    print(*faults[:20], sep="\n", end="\n" if faults else "")
    return run.ok and not faults


def model(databases: Databases, asked: argparse.Namespace) -> bool:
    """The stateful run, longer."""
    from tests.soundness.test_catalogue_model import run_edits

    run_edits(databases, asked.examples)
    print(f"{asked.examples} catalogues agree with their models")
    return True


def contest(databases: Databases, asked: argparse.Namespace) -> bool:
    """Many processes and editors; raises what is not as it must be."""
    url = loaded_demo(databases.new())
    with ExitStack() as running:
        first = running.enter_context(serve(url, questions_waiting=50, **AS_IT_COMES))
        services = [
            first,
            *(running.enter_context(serve(url, key=first.key, **AS_IT_COMES)) for _ in range(3)),
        ]
        run = Contest(services, url, threads=8, rounds=asked.rounds, seed=asked.seed)
        run.prepare()
        run.run()
        run.judge()
        faults = [line for service in services for line in service.faults()]
    print(f"{run.statuses.total()} requests, {sum(map(len, run.accepted.values()))} changes accepted, "
          f"{sum(map(len, run.refused.values()))} refused, {len(run.answers)} closures of "
          f"{len(run.edits)} revisions, {len(faults)} faults in the log")  # fmt: skip
    print(dict(sorted(run.statuses.items())), *faults[:20], sep="\n")
    return not faults


FORMS: dict[str, Callable[[Databases, argparse.Namespace], bool]] = {
    "schema": schema, "model": model, "contest": contest,
}  # fmt: skip


def main() -> int:
    """Run one form on the engines asked for."""
    parser = argparse.ArgumentParser(prog="python -m tests.soundness")
    parser.add_argument("form", choices=FORMS)
    parser.add_argument("--engine", choices=ENGINES)
    parser.add_argument("--examples", type=int, default=100)
    parser.add_argument("--rounds", type=int, default=100)
    parser.add_argument("--seed", type=int, default=random.randrange(10**6))
    asked = parser.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(143))
    good = True
    for engine in [asked.engine] if asked.engine else ENGINES:
        started = time.monotonic()
        with databases_of(engine) as databases:
            own = FORMS[asked.form](databases, asked)
        good &= own
        print(f"{engine}: {time.monotonic() - started:.0f} s, {'good' if own else 'NOT GOOD'}", flush=True)
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
