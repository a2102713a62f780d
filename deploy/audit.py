"""Ask whether a locked package has a known vulnerability; databases on the network know.

`python deploy/audit.py` fails when one is found, and when a package could not be asked for: an
audit that did not happen must not look like one that found nothing. With `--found-only` it says
so, too, but fails only when one is found, so that work can be checked without a way out.
"""

import argparse
import json
import subprocess
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

HERE = Path(__file__).parents[1]
# All packages of the image, of its build, and of the tests, in the versions that all locks share.
LOCK = HERE / "requirements-dev.lock"
LINTER = HERE / "tests" / "openapi_lint"
LONGEST_S = 300


class Audit(NamedTuple):
    """What is known of some packages: vulnerabilities, and what could not be asked for."""

    packages: str
    found: tuple[str, ...]
    unasked: tuple[str, ...]


def read_pip_audit(written: str) -> Audit:
    """Read the report of pip-audit."""
    rows: list[dict[str, Any]] = json.loads(written)["dependencies"]
    return Audit(
        f"{len(rows)} packages of {LOCK.name}",
        tuple(
            f"{row['name']} {row['version']}: {known['id']}, mended in "
            f"{', '.join(known['fix_versions']) or 'no version yet'}"
            for row in rows
            for known in row.get("vulns", ())
        ),
        tuple(row["skip_reason"] for row in rows if "skip_reason" in row),
    )


def read_npm_audit(written: str) -> Audit:
    """Read the report of npm."""
    report: dict[str, Any] = json.loads(written)
    packages = f"packages of {LINTER.name}"
    if "vulnerabilities" not in report:
        return Audit(packages, (), (report.get("message", "npm gave no reason"),))
    found = (
        f"{name} {known['range']}: {known['severity']}"
        for name, known in report["vulnerabilities"].items()
    )
    return Audit(packages, tuple(found), ())


def asked(command: Sequence[str], read: Callable[[str], Audit]) -> Audit:
    """Run an auditor and read what it wrote, whatever its status."""
    try:
        done = subprocess.run(  # noqa: S603 - a fixed command, no shell
            command, capture_output=True, text=True, check=False, timeout=LONGEST_S
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        return Audit(command[0], (), (str(error),))
    try:
        return read(done.stdout)
    except (ValueError, KeyError):
        said = done.stderr.strip().splitlines() or [f"status {done.returncode}"]
        return Audit(" ".join(command), (), (said[-1],))


def main(arguments: Sequence[str] | None = None) -> int:
    """Audit everything that is locked, and say what is not cleared."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--found-only", action="store_true", help="fail on findings alone")
    given = parser.parse_args(arguments)
    locked = ("--disable-pip", "--require-hashes", "--requirement", str(LOCK))
    brief = ("--format=json", "--progress-spinner=off", "--timeout=10")
    npm = ("npm", "audit", "--json", "--package-lock-only", "--fetch-retries=0")
    audits = (
        asked((sys.executable, "-m", "pip_audit", *locked, *brief), read_pip_audit),
        asked((*npm, "--prefix", str(LINTER)), read_npm_audit),
    )
    for audit in audits:
        sys.stdout.write(told(audit))
    found = any(audit.found for audit in audits)
    return int(found or (not given.found_only and any(audit.unasked for audit in audits)))


def told(audit: Audit) -> str:
    """Say in a few lines what an audit came to."""
    if not audit.found and not audit.unasked:
        return f"audit: {audit.packages}: nothing known\n"
    lines = [f"audit: VULNERABLE {finding}" for finding in audit.found]
    if audit.unasked:
        lines.append(
            f"audit: NOT CLEARED, {audit.packages}: {len(audit.unasked)} could not be asked for, "
            f"such as: {audit.unasked[0]}"
        )
    return "\n".join(lines) + "\n"


if __name__ == "__main__":
    sys.exit(main())
