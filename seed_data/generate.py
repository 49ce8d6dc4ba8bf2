"""`python -m seed_data.generate OUT_DIR`: write the scenario's logs, bench files and manifest."""

import sys
import time

from seed_data import scenario


def main(arguments: list[str]) -> int:
    if len(arguments) != 1:
        print("usage: python -m seed_data.generate OUT_DIR", file=sys.stderr)
        return 2
    started = time.perf_counter()

    def progress(done: int, total: int, run: scenario.SeedRun) -> None:
        print(f"{done:2}/{total} {run.log}: {run.appliance} · {run.tester}")

    runs = scenario.write(arguments[0], progress)
    print(f"{len(runs)} runs in {time.perf_counter() - started:.1f} s")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
