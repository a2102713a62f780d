"""Ask the service on this machine whether it lives; run as a command.

Ends with 0 if it does and 1 if not. It reads only LOOPMARGIN_PORT and imports next to
nothing, as it is run every few seconds beside a service that wants the core.
"""

import http.client
import os
import sys

TIMEOUT_S = 2.0
OK = 200


def main() -> int:
    """Ask once."""
    connection = http.client.HTTPConnection(
        "127.0.0.1", int(os.environ.get("LOOPMARGIN_PORT", "8000")), timeout=TIMEOUT_S
    )
    try:
        connection.request("GET", "/livez")
        return 0 if connection.getresponse().status == OK else 1
    except (OSError, http.client.HTTPException) as error:
        sys.stderr.write(f"no answer from /livez: {error}\n")
        return 1
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(main())
