"""The file of keys: who is in it, how it is replaced, and what is never told."""

import hashlib
import hmac
import os
from datetime import UTC, datetime
from pathlib import Path

import msgspec
import pytest

from loopmargin_service.http.keys import Key, Keyring, KeysError, hash_of, read_keys

NOW = datetime(2026, 12, 1, tzinfo=UTC)
SECRET = "a-secret-of-the-test"  # noqa: S105 - nobody else's


class Clocks:
    """A wall clock and a steady one that a test moves, and a count of failures."""

    def __init__(self) -> None:
        self.now = 0.0
        self.failures = 0

    def fail(self) -> None:
        """Count a file that could not be used."""
        self.failures += 1

    def wall(self) -> float:
        """Tell the time of day."""
        return NOW.timestamp() + self.now

    def steady(self) -> float:
        """Tell the time passed."""
        return self.now


def line(name: str, secret: str = SECRET, **fields: object) -> str:
    """Write one line of the file."""
    return msgspec.json.encode({"id": name, "sha256": hash_of(secret), **fields}).decode() + "\n"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Write a file with one key."""
    made = tmp_path / "keys.jsonl"
    made.write_text(f"# the bench\n\n{line('bench')}")
    return made


@pytest.fixture
def clocks() -> Clocks:
    """Hold the time."""
    return Clocks()


@pytest.fixture
def keyring(path: Path, clocks: Clocks) -> Keyring:
    """Read the file under the test's clocks."""
    return Keyring(path, clocks.wall, clocks.steady, clocks.fail)


def test_a_key_is_found_by_its_id_and_its_secret(keyring: Keyring) -> None:
    """And by nothing less."""
    found = keyring.holder(f"bench.{SECRET}".encode())

    assert found is not None
    assert found.id == "bench"
    for wrong in (f"bank.{SECRET}", "bench.", "bench", f".{SECRET}", f"bench.{SECRET}x", ""):
        assert keyring.holder(wrong.encode()) is None


def test_the_hash_of_the_file_opens_nothing(keyring: Keyring) -> None:
    """Who reads the file has no key."""
    assert keyring.holder(f"bench.{hash_of(SECRET)}".encode()) is None


def test_unknown_and_wrong_cost_the_same_work(
    keyring: Keyring, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One hash and one comparison of equal lengths each, so time tells nothing."""
    done: list[object] = []
    real_hash, real_compare = hashlib.sha256, hmac.compare_digest

    def hashing(content: bytes) -> object:
        done.append(("hash", len(content)))
        return real_hash(content)

    def comparing(one: bytes, other: bytes) -> bool:
        done.append(("compare", len(one), len(other)))
        return real_compare(one, other)

    monkeypatch.setattr(hashlib, "sha256", hashing)
    monkeypatch.setattr(hmac, "compare_digest", comparing)
    work = []
    for credentials in (b"nobody.12345", b"bench.12345"):
        assert keyring.holder(credentials) is None
        work.append(tuple(done))
        done.clear()

    assert work[0] == work[1]
    assert [step[0] for step in work[0] if isinstance(step, tuple)] == ["hash", "compare"]


def test_credentials_are_hashed_only_so_far(keyring: Keyring) -> None:
    """Length costs nothing and opens nothing."""
    assert keyring.holder(b"bench." + b"x" * 10_000_000) is None


def test_old_and_new_keys_hold_together(path: Path, clocks: Clocks) -> None:
    """The way in which one is replaced by the other."""
    path.write_text(line("bench-1") + line("bench-2", "another"))
    keyring = Keyring(path, clocks.wall, clocks.steady)

    assert keyring.holder(f"bench-1.{SECRET}".encode())
    assert keyring.holder(b"bench-2.another")
    assert len(keyring) == 2


def test_a_key_has_its_time(path: Path, clocks: Clocks) -> None:
    """From its first moment to just before its last."""
    path.write_text(
        line("bench", not_before="2026-12-01T00:00:10Z", not_after="2026-12-01T01:00:20+01:00")
    )
    keyring = Keyring(path, clocks.wall, clocks.steady)
    key = keyring.holder(f"bench.{SECRET}".encode())
    assert key is not None
    said = []
    for seconds in (9.9, 10.0, 19.9, 20.0):
        clocks.now = seconds
        said.append(keyring.outside(key))

    assert said[0].startswith("is valid only from 2026-12-01T00:00:10")
    assert said[1:3] == ["", ""]
    assert said[3].startswith("was valid until 2026-12-01T01:00:20+01:00")


def test_a_changed_file_is_read_again(keyring: Keyring, path: Path, clocks: Clocks) -> None:
    """Within a second or so, and not at every request."""
    path.write_text(line("other", "another"))
    assert keyring.holder(b"other.another") is None

    clocks.now = 1.0

    assert keyring.holder(b"other.another") is not None
    assert keyring.holder(f"bench.{SECRET}".encode()) is None


def test_a_file_put_in_its_place_is_read_again(
    keyring: Keyring, path: Path, clocks: Clocks
) -> None:
    """Also when it is as long and as old as the one before: mounted secrets change so."""
    before = path.stat()
    new = path.with_name("new")
    new.write_text(path.read_text().replace(hash_of(SECRET), hash_of("another")))
    os.utime(new, ns=(before.st_atime_ns, before.st_mtime_ns))
    new.replace(path)
    clocks.now = 1.0

    assert keyring.holder(b"bench.another") is not None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", "holds no key"),
        ("# nothing\n", "holds no key"),
        ("{", "line 1: "),
        (line("bench") + line("bench"), "line 2: the id bench is there twice"),
        (line("Bench"), r"line 1: .*regex .*\$\.id"),
        (line("bench", at_once=0), "line 1: .*>= 1"),
        (line("bench", extra=1), "line 1: .*unknown field"),
        (line("bench", not_after="2026-12-01"), "line 1: "),
        (line("bench", not_before="2026-12-02T00:00:00Z", not_after="2026-12-01T00:00:00Z"), "not"),
        ("\udcff", "not UTF-8"),
    ],
)
def test_a_broken_file_leaves_the_keys_of_before(
    keyring: Keyring,
    clocks: Clocks,
    path: Path,
    content: str,
    said: str,
    caplog: pytest.LogCaptureFixture,
) -> None:
    """It is told, counted, and mended by the next good one."""
    good = path.read_text()
    path.write_bytes(content.encode(errors="surrogateescape"))

    keyring.reload()

    assert keyring.holder(f"bench.{SECRET}".encode()) is not None
    assert (clocks.failures, keyring.failing) == (1, True)
    assert "the keys of before stay valid" in caplog.text
    with pytest.raises(KeysError, match=said):
        read_keys(path)
    path.write_text(good)
    keyring.reload()
    assert (clocks.failures, keyring.failing) == (1, False)


def test_a_file_that_goes_leaves_the_keys(keyring: Keyring, path: Path, clocks: Clocks) -> None:
    """It is noticed."""
    path.unlink()
    clocks.now = 1.0

    assert keyring.holder(f"bench.{SECRET}".encode()) is not None
    assert keyring.looked_failing()


def test_a_pasted_secret_is_not_repeated(path: Path) -> None:
    """The file may hold by mistake what it must not."""
    path.write_text(f"bench.{SECRET}\n")

    with pytest.raises(KeysError) as caught:
        read_keys(path)

    assert SECRET not in str(caught.value)


def test_a_file_without_end_is_refused(path: Path) -> None:
    """A key needs a hundred bytes."""
    path.write_bytes(b"\n" * 2_000_000)

    with pytest.raises(KeysError, match="longer than"):
        read_keys(path)


def test_a_key_holds_no_secret() -> None:
    """Only its hash."""
    assert {"secret", "key"} & set(Key.__struct_fields__) == set()
