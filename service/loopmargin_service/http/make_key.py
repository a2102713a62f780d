"""Make a key: `python -m loopmargin_service.http.make_key quoting-tool --file keys.jsonl`.

The key goes to standard output, once, and nowhere else; its hash goes to the end of the
file, which is made with its folder if it is not there. Replicas that use the file take the
key within a second or two.
"""

import argparse
import os
import secrets
import sys
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

import msgspec

from loopmargin_service.http.keys import Key, KeysError, hash_of, read_keys

SECRET_BYTES = 32
LONGEST_DAYS = 36_500


def main(arguments: Sequence[str] | None = None) -> int:
    """Make one key, append the hash of its secret to the file and print the key."""
    given = _parser().parse_args(arguments)
    secret = secrets.token_urlsafe(SECRET_BYTES)
    now = datetime.now(UTC).replace(microsecond=0)
    try:
        key = msgspec.convert(
            {
                "id": given.id,
                "sha256": hash_of(secret),
                "not_before": now,
                "not_after": now + timedelta(days=given.days) if given.days else None,
                "units_per_min": given.units_per_min,
                "burst_units": given.burst_units,
                "at_once": given.at_once,
            },
            Key,
        )
        append(given.file, key)
    except msgspec.ValidationError as error:
        sys.stderr.write(f"{_told(str(error), given.id)}\n")
        return 2
    except KeysError as error:
        sys.stderr.write(f"{error}\n")
        return 2
    except OSError as error:
        sys.stderr.write(f"{given.file} cannot be written: {error.strerror}.\n")
        return 2
    sys.stdout.write(f"{key.id}.{secret}\n")
    return 0


def _told(said: str, name: str) -> str:
    """Say what to change; a pattern says little to whoever types a name."""
    if not said.endswith("`$.id`"):
        return said
    return (
        f"{name!r} is no name of a key; take small letters, digits and hyphens, at most 32, such "
        "as quoting-tool."
    )


def append(path: Path, key: Key) -> None:
    """Add a key to a file that is in order, in place of which a whole new one is put."""
    before = path.read_bytes() if path.exists() else b""
    if before and key.id.encode() in read_keys(path):
        raise KeysError(f"the id {key.id} is in {path} already; take another, or drop that line.")
    separator = b"\n" if before and not before.endswith(b"\n") else b""
    line = msgspec.json.encode({name: value for name, value in _fields(key) if value is not None})
    mode = path.stat().st_mode & 0o777 if before else 0o600
    path.parent.mkdir(exist_ok=True)
    new = path.with_name(f".{path.name}.{os.getpid()}")
    with open(os.open(new, os.O_WRONLY | os.O_CREAT | os.O_EXCL, mode), "wb") as opened:  # noqa: PTH123 - with its mode
        opened.write(before + separator + line + b"\n")
    new.replace(path)


def _fields(key: Key) -> list[tuple[str, object]]:
    return [(name, getattr(key, name)) for name in key.__struct_fields__]


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="make_key", description=main.__doc__)
    parser.add_argument("id", help="name of the key: small letters, digits and hyphens")
    parser.add_argument("--file", type=Path, required=True, help="file of keys")
    parser.add_argument(
        "--days",
        type=int,
        default=365,
        choices=range(LONGEST_DAYS + 1),
        metavar="DAYS",
        help="how long it is valid; 0 for ever",
    )
    parser.add_argument("--units-per-min", type=int, help="its quota, where it has one of its own")
    parser.add_argument("--burst-units", type=int, help="what it may ask for at once")
    parser.add_argument("--at-once", type=int, help="how many requests it may have open")
    return parser


if __name__ == "__main__":
    sys.exit(main())
