"""Run every benchmark: ``python -m benchmarks [name ...]``."""

import importlib
import pkgutil
import sys

import benchmarks
from benchmarks.row import Row


def main(wanted: list[str]) -> None:
    names = sorted(
        module.name
        for module in pkgutil.iter_modules(benchmarks.__path__)
        if module.name.startswith("bench_")
    )
    for name in names:
        if wanted and not any(word in name for word in wanted):
            continue
        rows: list[Row] = importlib.import_module(f"benchmarks.{name}").rows()
        for row in rows:
            verdict = "met " if row.is_met else "MISS"
            print(
                f"{verdict} {row.name:<58} {row.measured:>10.4g} {row.unit:<6}"
                f" must {row.target_text:<14} {row.note}",
                flush=True,
            )


if __name__ == "__main__":
    main(sys.argv[1:])
