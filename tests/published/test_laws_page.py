"""The page of laws is what the tests of this folder noted; it runs after all of them."""

import subprocess
import sys

from tests.laws import laws
from tests.published import laws_page
from tests.published.register import register

LEAST_ROWS = 150


def test_the_page_is_what_the_tests_noted() -> None:
    """The committed page has the laws, sources, counts and deviations of this very run.

    Where only a part of the tests was run, all of them are run again for it.
    """
    if laws_page.differences(laws_page.PAGE.read_text(), laws_page.text(register.rows)) == []:
        return
    command = [sys.executable, "-m", "tests.published.laws_page", "--check"]
    whole = subprocess.run(command, capture_output=True, text=True, check=False)  # noqa: S603

    assert whole.returncode == 0, f"run `make laws`: {whole.stderr[-2000:]}"


def test_every_law_has_a_row() -> None:
    """No law is without a value from outside, and there are many of them."""
    page = laws_page.PAGE.read_text()
    without = [name for name in laws() if f"| `{name}` | 0 | 0 |" in page or name not in page]

    assert without == []
    assert page.count(" | printed | ") + page.count(" | independent | ") >= LEAST_ROWS


def test_differences_are_seen() -> None:
    """A share that moves by a point is the same page; one that moves more, or a word, is not."""
    assert laws_page.differences("| a | 12% |", "| a | 13% |") == []
    assert laws_page.differences("| a | 12% |", "| a | 15% |") != []
    assert laws_page.differences("| a | 12% |", "| b | 12% |") != []
    assert laws_page.differences("a\n", "a\nb\n") != []
