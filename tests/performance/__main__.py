"""Every benchmark, one after the other; fails when one of them misses its target."""

import sys

from tests.performance import bench_compute, bench_http, bench_store, client_import


def main() -> int:
    """Run them all, whatever one of them finds."""
    results = [bench_compute.main(), bench_http.main(), bench_store.main(), client_import.main()]
    return 1 if any(results) else 0


if __name__ == "__main__":
    sys.exit(main())
