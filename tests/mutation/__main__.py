"""Would the tests notice a wrong program? `python -m tests.mutation --help`.

python -m tests.mutation map             which test runs which line (once, and after new tests)
python -m tests.mutation run             makes the sample's changes one by one; goes on where it was ended
python -m tests.mutation run --again     those that nobody noticed, once more
python -m tests.mutation report          the figures by room, and what nobody noticed
"""

import argparse
import sys
import tempfile
from pathlib import Path

from tests.mutation.changes import ROOMS, SEED
from tests.mutation.results import Results, report, same, sampled

STORE = Path(tempfile.gettempdir()) / "graftbook-mutation"


def main() -> int:
    """Reads the command line and does what it asks."""
    options = _options().parse_args()
    options.store.mkdir(parents=True, exist_ok=True)
    return int(options.do(options))


def _options() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m tests.mutation", description=(__doc__ or "").partition("\n")[0]
    )
    parser.add_argument("--store", type=Path, default=STORE, help=f"where map and results are kept ({STORE})")
    commands = parser.add_subparsers(required=True)
    mapping = commands.add_parser("map", help="measure which test runs which line")
    mapping.add_argument("--part", default="all", help="a name; a new part adds to the parts there are")
    mapping.add_argument("tests", nargs="*", default=["tests"], help="folders or files of tests")
    mapping.set_defaults(do=_map)
    run = commands.add_parser("run", help="make the changes of the sample and run the tests")
    run.add_argument(
        "--room", action="append", choices=list(ROOMS), help="only this room; may be given again"
    )
    run.add_argument("--seed", default=SEED)
    run.add_argument("--size", type=int, help="changes a room, in place of what each has")
    run.add_argument("--seconds", type=float, default=90.0, help="that one change may take")
    run.add_argument("--share", default="1/1", help="1/2 and 2/2: two runs beside each other")
    run.add_argument("--again", action="store_true", help="those that nobody noticed, once more")
    run.add_argument("--only", nargs="+", help="these changes, by name")
    run.set_defaults(do=_run)
    told = commands.add_parser("report", help="the figures by room, and what nobody noticed")
    told.add_argument("--seed", default=SEED)
    told.add_argument("--size", type=int)
    told.set_defaults(do=lambda options: report(options.store, options.seed, options.size))
    return parser


def _map(options: argparse.Namespace) -> int:
    from tests.mutation.mapping import measure

    return measure(options.store, options.part, options.tests)


def _run(options: argparse.Namespace) -> int:
    from tests.mutation.running import Limits, Runner

    share, shares = map(int, options.share.split("/"))
    results = Results(options.store, f"{share}-of-{shares}")
    changes = sampled(options.store, options.seed, options.size)
    changes = [change for change in changes if not options.room or change.room in options.room]
    if options.only:
        changes = [change for change in changes if change.name in options.only]
    elif options.again:
        changes = [change for change in changes if results.unnoticed(change.name)]
    else:
        changes = [change for change in changes if change.name not in results.found.keys() | same().keys()]
    mine = changes[share - 1 :: shares]
    print(f"{len(mine)} changes to make", flush=True)
    Runner(options.store, Limits(options.seconds), results.keep, anew=options.again).run(mine)
    return 0


if __name__ == "__main__":
    sys.exit(main())
