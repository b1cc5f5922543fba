"""Runs the benchmarks: `python -m tests.benchmarks [name …]`; without a name, the quick ones.

Times are of this machine and this moment; ratios to what was run beside them say more.
"""

import importlib
import sys

QUICK = ("closure_speed", "checks_speed", "split_speed", "http_speed", "reasoning_speed", "pages_speed")
LONG = ("scale", "load_speed", "mixed")


def main(names: list[str]) -> int:
    """Run each benchmark and print its rows; returns the exit code."""
    for name in names:
        if name not in (*QUICK, *LONG):
            print(f"there is no benchmark '{name}'; use {', '.join((*QUICK, *LONG))}")
            return 2
    for name in names or QUICK:
        module = importlib.import_module(f"tests.benchmarks.{name}")
        print(f"\n{name}: {(module.__doc__ or '').splitlines()[0]}")
        for what, figure in module.run():
            print(f"  {what:<74} {figure}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
