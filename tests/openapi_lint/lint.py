"""Lint the OpenAPI document with every rule, less the waivers that say why.

Fails on a finding that nobody waived, and on a waiver that no finding needs any more.
"""

import json
import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).parent
DOCUMENT = HERE.parents[1] / "openapi" / "openapi.json"


class Finding(NamedTuple):
    """One thing that one rule found."""

    rule: str
    place: str
    message: str


class Waiver(NamedTuple):
    """Findings of one rule that stand for a reason, at places given as regular expressions.

    Without places, all of them.
    """

    rule: str
    reason: str
    places: tuple[str, ...] = ()

    def covers(self, finding: Finding) -> bool:
        """Tell whether this is one of the findings waived."""
        return finding.rule == self.rule and (
            not self.places or any(re.fullmatch(place, finding.place) for place in self.places)
        )


def findings(document: Path) -> list[Finding]:
    """Run the linter, as `npm ci` installed it."""
    # Failing on nothing leaves the judgement to the waivers; a crash is still not 0.
    done = subprocess.run(  # noqa: S603 - a fixed command, no shell
        [
            str(HERE / "node_modules" / ".bin" / "spectral"),
            *("lint", str(document), "--ruleset", str(HERE / ".spectral.yaml")),
            *("--format", "json", "--quiet", "--fail-severity", "error"),
        ],
        capture_output=True,
        text=True,
        check=False,
        env={"PATH": os.environ["PATH"]},
    )
    try:
        found = json.loads(done.stdout)
    except ValueError:
        raise RuntimeError(f"the linter did not run:\n{done.stdout}{done.stderr}") from None
    return [Finding(item["code"], _place(item["path"]), item["message"]) for item in found]


def waivers(text: str) -> list[Waiver]:
    """Read the waivers; each has a reason."""
    return [Waiver(row["rule"], row["reason"], tuple(row["places"])) for row in json.loads(text)]


def mistakes(found: list[Finding], waived: list[Waiver]) -> list[str]:
    """List the findings that stand unwaived and the waivers that stand for nothing."""
    open_ones = {
        f"{finding.rule} at {finding.place}: {finding.message}"
        for finding in found
        if not any(waiver.covers(finding) for waiver in waived)
    }
    idle = [
        f"the waiver of {waiver.rule} is needed no more: take it out of waivers.json"
        for waiver in waived
        if not any(waiver.covers(finding) for finding in found)
    ]
    return sorted(open_ones) + idle


def main() -> int:
    """Lint the committed document."""
    found = findings(DOCUMENT)
    waived = waivers((HERE / "waivers.json").read_text(encoding="utf-8"))
    wrong = mistakes(found, waived)
    counted = Counter(finding.rule for finding in found)
    sys.stdout.write(f"{len(found)} findings of {len(counted)} rules, {len(wrong)} not waived\n")
    sys.stderr.writelines(f"{line}\n" for line in wrong)
    return 1 if wrong else 0


def _place(path: list[str | int]) -> str:
    """Write a place as a JSON Pointer."""
    return "".join(f"/{str(step).replace('~', '~0').replace('/', '~1')}" for step in path)


if __name__ == "__main__":
    sys.exit(main())
