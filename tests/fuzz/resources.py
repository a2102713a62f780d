"""What a process holds, read from the kernel."""

from pathlib import Path


def resident_bytes(pid: int) -> int:
    """Give the resident set of a process. [bytes]"""
    status = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    (line,) = (line for line in status.splitlines() if line.startswith("VmRSS"))
    return int(line.split()[1]) * 1024


def open_files(pid: int) -> int:
    """Count the file descriptors of a process."""
    return len(list(Path(f"/proc/{pid}/fd").iterdir()))
