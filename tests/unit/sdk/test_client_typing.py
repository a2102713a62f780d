"""The types that callers see, checked by the type checker."""

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[3]


def test_examples_of_use_are_typed_as_written() -> None:
    """Answers have the type of their question, and mistakes are errors."""
    done = subprocess.run(
        [sys.executable, "-m", "mypy", "tests/unit/sdk/client_typing.py"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )

    assert (done.returncode, done.stdout) == (0, "Success: no issues found in 1 source file\n")
