"""Write the table of settings in deploy/README.md from the settings the service reads.

`python deploy/settings_table.py` writes it, `--check` fails when it is out of date.
"""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import msgspec

from loopmargin_service.http.accepted import accepted
from loopmargin_service.http.settings import PREFIX, SECRETS, Settings

PAGE = Path(__file__).with_name("README.md")
BEGIN = "<!-- settings: written by deploy/settings_table.py -->\n"
END = "<!-- end of settings -->\n"


def table() -> str:
    """Write one row for each setting, as the service declares it."""
    declared = msgspec.json.schema(Settings)["$defs"]["Settings"]["properties"]
    rows = [_row(name, about) for name, about in declared.items()]
    return "\n".join(("| variable | default | accepts | meaning |", "|---|---|---|---|", *rows, ""))


def placed(page: str) -> str:
    """Put the table where the page marks its place."""
    before, _, rest = page.partition(BEGIN)
    _, found, after = rest.partition(END)
    if not found:
        raise ValueError(f"the page has no place for the table: {BEGIN}{END}")
    return f"{before}{BEGIN}{table()}{END}{after}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Write the table, or check that it is up to date."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, fail on a difference")
    parser.add_argument("--page", type=Path, default=PAGE)
    given = parser.parse_args(arguments)
    page = given.page.read_text(encoding="utf-8")
    wanted = placed(page)
    if not given.check:
        given.page.write_text(wanted, encoding="utf-8")
    elif wanted != page:
        sys.stderr.write(
            f"{given.page} lists other settings than the code; run make deploy-files\n"
        )
        return 1
    return 0


def _row(name: str, about: dict[str, Any]) -> str:
    variable = f"`{PREFIX}{name.upper()}`"
    if name in SECRETS:
        variable += f" or `{PREFIX}{name.upper()}_FILE`"
    default = about.get("default", "")
    shown = "empty" if default in ("", None) else f"`{default}`"
    if isinstance(default, bool):
        shown = shown.lower()
    meaning = about.get("description", "").replace("|", r"\|")
    return f"| {variable} | {shown} | {accepted(about)} | {meaning} |"


if __name__ == "__main__":
    sys.exit(main())
