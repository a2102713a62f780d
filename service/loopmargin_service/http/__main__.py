"""Serve: `python -m loopmargin_service.http --port 8000`."""

import sys

from loopmargin_service.http.serve import main

sys.exit(main())
