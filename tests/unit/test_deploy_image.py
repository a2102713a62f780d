"""What goes into the image: exact tags, locked packages, the service itself as its process."""

import re
from pathlib import Path

import pytest

from tests.unit.test_deploy import COMPOSE, DEPLOY, DOCKERFILE, ROOT, pod


def pins(lock: Path) -> set[str]:
    """List the exact versions that a lock file names."""
    return set(re.findall(r"^[\w.-]+==[\w.]+", lock.read_text(), re.MULTILINE))


@pytest.mark.parametrize(
    "image",
    [
        *re.findall(r"^FROM (\S+)", DOCKERFILE, re.MULTILINE),
        *(row["image"] for row in COMPOSE["services"].values()),
        pod("answers")["containers"][0]["image"],
    ],
)
def test_images_have_exact_tags(image: str) -> None:
    """Three numbers at least; never latest."""
    assert re.fullmatch(r"[\w./-]+:v?\d+\.\d+\.\d+[\w.-]*(@sha256:[0-9a-f]{64})?", image)


def test_the_image_is_built_from_the_locks() -> None:
    """Every fetching line demands hashes, and the process that runs is the service itself."""
    fetching = [row for row in DOCKERFILE.split("\nRUN ")[1:] if "-r locks/" in row]

    assert len(fetching) == 2
    assert all("--require-hashes --no-deps --only-binary=:all:" in row for row in fetching)
    assert 'ENTRYPOINT ["python", "-m", "loopmargin_service.http"]' in DOCKERFILE
    assert "\nUSER 10001:10001\n" in DOCKERFILE


@pytest.mark.parametrize("lock", ["requirements.lock", "requirements-build.lock"])
def test_the_image_gets_the_versions_that_are_tested(lock: str) -> None:
    """`make lock` writes all lock files from one resolution."""
    assert pins(DEPLOY / lock) <= pins(ROOT / "requirements-dev.lock")
