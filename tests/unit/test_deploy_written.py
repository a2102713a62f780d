"""What is written from the code and the lock file is up to date."""

import importlib.util
import json
import re
from pathlib import Path
from typing import Any

DEPLOY = Path(__file__).parents[2] / "deploy"


def script(name: str) -> Any:  # noqa: ANN401 - a module
    """Load one of the scripts beside the deployment files."""
    found = importlib.util.spec_from_file_location(name, DEPLOY / f"{name}.py")
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    found.loader.exec_module(module)
    return module


def pins(lock: Path) -> set[str]:
    """List the exact versions that a lock file names."""
    return set(re.findall(r"^[\w.-]+==[\w.]+", lock.read_text(), re.MULTILINE))


def test_the_table_of_settings_is_the_code(tmp_path: Path) -> None:
    """It is what the script writes; a page with another table is found out."""
    written = script("settings_table")
    page = tmp_path / "README.md"
    page.write_text(
        (DEPLOY / "README.md").read_text().replace("LOOPMARGIN_PORT", "LOOPMARGIN_PROT")
    )

    assert written.main(["--check"]) == 0
    assert written.main(["--check", "--page", str(page)]) == 1
    assert written.main(["--page", str(page)]) == 0
    assert page.read_text() == (DEPLOY / "README.md").read_text()


def test_the_bill_lists_what_the_lock_pins() -> None:
    """Name and version of every package, no more, no less, each with a hash."""
    components = json.loads((DEPLOY / "sbom.json").read_bytes())["components"]

    assert {f"{row['name']}=={row['version']}" for row in components} == pins(
        DEPLOY / "requirements.lock"
    )
    assert all(row["externalReferences"][0]["hashes"] for row in components)
