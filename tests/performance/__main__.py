"""Every benchmark, one after the other; fails when one of them misses its target."""

import sys

from tests.performance import (
    bench_beside,
    bench_compute,
    bench_http,
    bench_layers,
    bench_overload,
    bench_store,
    bench_stream,
    bench_sweep,
    bench_work,
    client_import,
)

BENCHES = (
    bench_compute,
    bench_work,
    bench_sweep,
    bench_http,
    bench_layers,
    bench_store,
    bench_stream,
    bench_beside,
    bench_overload,
    client_import,
)


def main() -> int:
    """Run them all, whatever one of them finds."""
    results = [bench.main() for bench in BENCHES]
    return 1 if any(results) else 0


if __name__ == "__main__":
    sys.exit(main())
