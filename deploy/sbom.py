"""Write deploy/sbom.json: what the image holds, as CycloneDX, read off its lock file.

`python deploy/sbom.py` writes it, `--check` fails when it is out of date. No network.
"""

import argparse
import json
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
LOCK = HERE / "requirements.lock"
BILL = HERE / "sbom.json"


def bill() -> str:
    """Let cyclonedx-py read the lock file, and shorten what it wrote."""
    done = subprocess.run(  # noqa: S603 - our own files, no shell
        [
            *(sys.executable, "-W", "ignore::UserWarning", "-m", "cyclonedx_py", "requirements"),
            *("--pyproject", str(HERE.parent / "pyproject.toml"), "--output-reproducible"),
            *("--spec-version", "1.6", str(LOCK)),
        ],
        check=True,
        capture_output=True,
        text=True,
    )
    document: dict[str, Any] = json.loads(done.stdout)
    for component in document["components"]:
        _shorten(component)
    for tool in document["metadata"]["tools"]["components"]:
        tool.pop("externalReferences", None)
    return json.dumps(document, indent=1, sort_keys=True) + "\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the bill of materials, or check that it is up to date."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, fail on a difference")
    given = parser.parse_args(arguments)
    wanted = bill()
    if not given.check:
        BILL.write_text(wanted, encoding="utf-8")
    elif not BILL.is_file() or wanted != BILL.read_text(encoding="utf-8"):
        sys.stderr.write(f"{BILL} is not what {LOCK} gives; run make deploy-files\n")
        return 1
    return 0


def _shorten(component: dict[str, Any]) -> None:
    """Drop the copied lines of the lock file; point at the package, not at one place to get it."""
    del component["description"]
    for reference in component.get("externalReferences", ()):
        reference["url"] = component["purl"]
        reference.pop("comment", None)


if __name__ == "__main__":
    sys.exit(main())
